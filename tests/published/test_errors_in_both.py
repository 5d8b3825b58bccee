"""Lines with errors in both: direct minimisation, orthogonal-distance regression (figures recorded, and run), hand-listed slopes.

Passing & Bablok, J Clin Chem Clin Biochem 1983;21:709: no reference library at hand carries it, so it rests on slopes by hand.
"""

import numpy as np
import pytest
from pytest import approx
from scipy import optimize

from analysis.errors import OutOfRange
from analysis.lines import deming, deming_line, passing_bablok, theil_sen

C_X, C_Y = [101, 149, 201, 252, 298, 351, 402, 449], [104, 151, 206, 255, 305, 358, 411, 457]
N_X, N_Y = [100, 150, 200, 250, 300, 120, 180, 240], [118, 139, 214, 236, 319, 110, 201, 228]


@pytest.mark.parametrize(
    ("x", "y", "ratio", "slope", "intercept"),
    [
        (C_X, C_Y, 1.0, 1.019104936, 0.238978209),
        (C_X, C_Y, 4.0, 1.019076797, 0.246726970),
        (C_X, C_Y, 0.25, 1.019132444, 0.231403218),
        (N_X, N_Y, 1.0, 1.028899612, -2.438175328),
        (N_X, N_Y, 4.0, 1.012197158, 0.777047093),
    ],
)
def test_slope_and_intercept_as_recorded_from_orthogonal_distance_regression(x, y, ratio, slope, intercept):
    assert deming(x, y, variance_ratio=ratio) == approx((slope, intercept), abs=2e-8)


def test_slope_minimises_the_profile_sum():
    x, y = np.array(N_X, float), np.array(N_Y, float)

    def left(b):
        return float((((y - y.mean()) - b * (x - x.mean())) ** 2).sum() / (1 + b * b))

    assert deming(x, y)[0] == approx(optimize.minimize_scalar(left, bracket=(0.9, 1.0, 1.1)).x, abs=1e-6)


def test_swapping_the_devices_inverts_the_slope():
    assert deming(N_X, N_Y)[0] * deming(N_Y, N_X)[0] == approx(1.0, abs=1e-12)


def test_rows_that_do_not_vary_together_are_refused():
    with pytest.raises(OutOfRange):
        deming([1, 1, 1], [1, 2, 3])


@pytest.mark.parametrize("ratio", [0.25, 1.0, 4.0])
@pytest.mark.parametrize(("x", "y"), [(C_X, C_Y), (N_X, N_Y)])
def test_line_equals_orthogonal_distance_regression(x, y, ratio):
    odrpack = pytest.importorskip("odrpack", reason="test-only peer; install the `test` extra")
    fit = odrpack.odr_fit(
        lambda x, beta: beta[0] * x + beta[1], np.array(x, float), np.array(y, float), np.array([1.0, 0.0]), weight_x=1.0,
        weight_y=1 / ratio, sstol=1e-15, partol=1e-15, diff_scheme="central",
    )  # fmt: skip
    assert deming(x, y, variance_ratio=ratio)[0] == approx(fit.beta[0], abs=5e-6)  # its own finite differences


def test_jackknife_interval_is_near_the_residual_based_one():
    """scipy.odr's error of the slope on this set, scaled by its residuals: 0.003969; of the intercept 1.18378."""
    got = deming_line(C_X, C_Y)
    t = 2.446912  # Student's t, 6 degrees of freedom
    assert (got.slope_ci[1] - got.slope) / t == approx(0.003969, rel=0.35)
    assert (got.intercept_ci[1] - got.intercept) / t == approx(1.18378, rel=0.35)


def test_jackknife_interval_covers_the_true_slope():
    rng, hits, true = np.random.default_rng(12), 0, np.array([110, 140, 170, 200, 230, 260, 230, 200, 170, 140.0])
    for _ in range(400):
        line = deming_line(true + rng.normal(0, 1.5, 10), 1.04 * true + rng.normal(0, 1.5, 10))
        hits += line.slope_ci[0] <= 1.04 <= line.slope_ci[1]
    assert 0.92 <= hits / 400 <= 0.985


def test_theil_sen_and_passing_bablok_agree_where_no_slope_is_below_minus_one():
    for x, y, slope, intercept in ((C_X, C_Y, 1.019917026, 0.498752087), (N_X, N_Y, 0.976666667, 6.133333333)):
        for line in (theil_sen(x, y), passing_bablok(x, y)):
            assert (line.slope, line.intercept) == approx((slope, intercept), abs=1e-8)
    for line in (theil_sen(C_X, C_Y), passing_bablok(C_X, C_Y)):
        assert line.slope_ci == approx((1.006622517, 1.033557047), abs=1e-8)
    assert theil_sen(N_X, N_Y).slope_ci == approx((0.5, 1.3), abs=1e-9)


def test_passing_bablok_moves_its_median_up_by_the_slopes_below_minus_one():
    """Slopes by hand: -1.5 -0.7 -0.3 .267 .55 .64 .7 .975 1.15 1.175 1.2 1.4 1.8 2.6 3.1; the 9th instead of the 8th."""
    x, y = [1, 2, 3, 4, 5, 6], [2, 0.5, 3.1, 2.8, 5.9, 5.2]
    assert theil_sen(x, y).slope == approx(0.975)
    assert (passing_bablok(x, y).slope, passing_bablok(x, y).intercept) == approx((1.15, -1.025))


def test_swapping_the_devices_inverts_passing_bablok_too():
    assert passing_bablok(C_X, C_Y).slope * passing_bablok(C_Y, C_X).slope == approx(1.0, abs=1e-3)


@pytest.mark.parametrize(
    ("x", "y", "slope", "intercept"), [(C_X, C_Y, 1.019057677, 0.251992128), (N_X, N_Y, 1.001138088, 2.905918058)]
)
def test_line_becomes_least_squares_where_only_y_carries_an_error(x, y, slope, intercept):
    assert deming(x, y, variance_ratio=1e7) == approx((slope, intercept), abs=2e-4)


def test_least_squares_limit_on_the_certified_norris_data():
    """NIST StRD "Norris", an instrument comparison: B1 1.00211681802045, B0 -0.262323073774029 (certified)."""
    x = [
        0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6,
        556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
    ]  # fmt: skip
    y = [
        0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8,
        557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
    ]  # fmt: skip
    assert deming(x, y, variance_ratio=1e6) == approx((1.00211681802045, -0.262323073774029), abs=1e-6)
