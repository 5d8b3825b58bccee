"""Random-effects pooling against statsmodels (figures and live), metafor's README on the BCG trials, and a published example.

BCG trials: `metafor` README and its page on van Houwelingen 2002; ten studies: the `pimeta` package's documentation.
"""

import numpy as np
import pytest
from pytest import approx
from statsmodels.stats.meta_analysis import combine_effects

from analysis.errors import OutOfRange
from analysis.pooling import hartung_knapp_se, pool

S1 = [1.8, 2.4, 1.1, 3.0, 2.2, 0.9], [0.5, 0.6, 0.4, 0.8, 0.5, 0.7]
S2 = [1.2, 3.4, 0.2, 4.1, 2.6], [0.5, 0.6, 0.4, 0.7, 0.5]
BCG = np.array([
    [4, 119, 11, 128], [6, 300, 29, 274], [3, 228, 11, 209], [62, 13536, 248, 12619], [33, 5036, 47, 5761],
    [180, 1361, 372, 1079], [8, 2537, 10, 619], [505, 87886, 499, 87892], [29, 7470, 45, 7232], [17, 1699, 65, 1600],
    [186, 50448, 141, 27197], [5, 2493, 3, 2338], [27, 16886, 29, 17825],
], float)  # fmt: skip
TEN = ([0, 0.1, -0.4, -0.8, -0.63, 0.22, -0.34, -0.51, 0.03, -0.81],
       [0.42347717, 0.21939179, 0.02551067, 0.19898325, 0.30102594, 0.30102594, 0.07142988, 0.10204269, 0.12245123,
        0.30102594])  # fmt: skip


def bcg_log_risk_ratio():
    a, b, c, d = BCG.T
    return np.log(a / (a + b) / (c / (c + d))), np.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d))


@pytest.mark.parametrize(
    ("data", "method", "tau2", "mean", "se", "hk_se", "ci", "prediction"),
    [
        (S1, "DL", 0.215254, 1.814555, 0.297625, 0.300744, (1.041468, 2.587642), (0.284146, 3.344965)),
        (S1, "PM", 0.227293, 1.816438, 0.301208, 0.301208, (1.042158, 2.590717), (0.250711, 3.382164)),
        (S1, "REML", 0.197048, 1.811519, 0.292104, 0.300009, (1.040321, 2.582716), (0.336151, 3.286887)),
        (S2, "DL", 2.303633, 2.243622, 0.721221, 0.712792, (0.264593, 4.222651), (-3.104207, 7.591450)),
        (S2, "PM", 2.243297, 2.242297, 0.712790, 0.712790, (0.263273, 4.221320), (-3.036505, 7.521099)),
        (S2, "REML", 2.248665, 2.242417, 0.713544, 0.712791, (0.263393, 4.221441), (-3.042562, 7.527397)),
    ],
)  # fmt: skip
def test_recorded_figures_of_two_small_sets(data, method, tau2, mean, se, hk_se, ci, prediction):
    got = pool(*data, method=method)
    assert (got.tau2, got.mean, got.wald_se) == approx((tau2, mean, se), abs=1e-5)
    assert hartung_knapp_se(got, *data) == approx(hk_se, abs=1e-5)
    assert got.ci == approx(ci, abs=1e-5)
    assert got.prediction == approx(prediction, abs=1e-5)


@pytest.mark.parametrize(
    ("data", "q", "i2_pct", "tau2_ci"), [(S1, 8.550060, 41.52088, (0, 3.394117)), (S2, 37.906830, 89.447812, (0.621741, 20.6735))]
)
def test_heterogeneity_and_its_q_profile_interval(data, q, i2_pct, tau2_ci):
    got = pool(*data)
    assert got.q == approx(q, abs=1e-5)
    assert 100 * got.i2_frac == approx(i2_pct, abs=1e-4)
    assert got.tau2_ci == approx(tau2_ci, abs=1e-4)


@pytest.mark.parametrize(("method", "theirs"), [("DL", "chi2"), ("PM", "iterated")])
@pytest.mark.parametrize("data", [S1, S2, TEN])
def test_equals_statsmodels(method, theirs, data):
    y, se = map(np.asarray, data)
    other = combine_effects(y, se**2, method_re=theirs, atol=1e-12)
    got = pool(y, se, method=method)
    assert got.tau2 == approx(other.tau2, abs=1e-6)
    assert got.mean == approx(other.mean_effect_re, abs=1e-6)
    assert got.wald_se == approx(other.sd_eff_w_re, abs=1e-6)
    assert hartung_knapp_se(got, y, se) == approx(np.sqrt(other.var_hksj_re), abs=1e-6)


def test_bcg_trials_by_restricted_likelihood_as_metafor_prints_them():
    y, se = bcg_log_risk_ratio()
    got = pool(y, se)
    assert (got.tau2, got.mean, got.wald_se) == approx((0.3132, -0.7145, 0.1798), abs=5e-5)
    assert hartung_knapp_se(got, y, se) == approx(0.1808, abs=5e-5)
    assert got.ci == approx((-1.1084, -0.3206), abs=5e-5)
    assert got.q == approx(152.2330, abs=5e-5)
    assert got.prediction == approx((-2.008376, 0.579311), abs=1e-5)
    assert (pool(y, se, method="DL").tau2, pool(y, se, method="PM").tau2) == approx((0.30876, 0.31807), abs=1e-5)


def test_bcg_log_odds_ratio_q_profile_as_metafor_prints_it():
    a, b, c, d = BCG.T
    got = pool(np.log(a * d / (b * c)), np.sqrt((1 / BCG).sum(axis=1)))
    assert got.tau2_ci == approx((0.1302, 1.1812), abs=1e-4)  # printed to four digits, by an iteration


def test_ten_published_studies():
    got = pool(*TEN, method="DL")
    assert (got.mean, got.tau2) == approx((-0.3340597, 0.02824971), abs=1e-6)
    assert got.prediction == approx((-0.7597777, 0.09165839), abs=1e-6)


def test_identical_estimates_keep_the_error_of_their_own():
    """With tau2 = 0 the Hartung-Knapp error would vanish; it is held up to that of identical truths."""
    got = pool([2.0, 2.0, 2.0], [0.3, 0.3, 0.3])
    assert got.tau2 == 0
    assert got.se == approx(0.3 / np.sqrt(3))


@pytest.mark.parametrize("method", ["REML", "DL", "PM"])
def test_interval_covers_as_often_as_it_says(method):
    """Eight blocks whose true deltas spread by 0.8 % and whose own errors run from 0.3 to 1 %."""
    rng = np.random.default_rng(21)
    hits = 0
    for _ in range(600):
        se = rng.uniform(0.3, 1.0, 8)
        low, high = pool(5 + 0.8 * rng.standard_normal(8) + se * rng.standard_normal(8), se, method=method).ci
        hits += low <= 5.0 <= high
    # 95 % nominal; 600 repeats have a standard error of 0.9 %
    assert 0.925 <= hits / 600 <= 0.98


@pytest.mark.parametrize(("y", "se"), [([1.0], [0.1]), ([1, 2], [0.1]), ([1, 2], [0.1, 0.0]), ([1, float("nan")], [1, 1])])
def test_what_cannot_be_pooled_is_refused(y, se):
    with pytest.raises(OutOfRange, match="Pooling needs"):
        pool(y, se)
