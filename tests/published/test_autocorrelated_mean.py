"""Interval of the mean of an autocorrelated series: a frozen worked series, and measured coverage.

The series and its figures were computed outside this package from the written recipe (block means, corrected lag-1
correlation, exact AR(1) variance); the recipe's claim is the coverage, which is simulated again here.
"""

import numpy as np
import pytest
from pytest import approx
from scipy import signal

from analysis.deltas import mean_with_error

# 120 one-second differences of two devices, synthetic, frozen. [W]
SERIES = np.array([
    3, 3, 4, 2, 6, 8, 5, 6, 4, 1, 3, 0, 5, 4, -2, 0, -2, -2, 1, 0, 2, 4, 6, 3, 4, 3, 2, 0, 4, 2, 3, 5, 2, 2, -1, 2, -1, -1, 1, -4,
    0, -2, 2, -1, 0, 0, 0, -2, -2, -3, -1, -1, -3, 1, -3, 0, -1, -1, -2, 0, -3, -1, 0, -2, -3, 1, 2, -1, -2, 0, 2, 3, -2, 0, 2,
    0, -1, 1, 2, 0, 2, 0, 4, -1, -1, -3, -4, -3, 0, 1, -2, 0, 1, -4, 2, 1, -3, 2, 2, -2, 2, 0, 1, 1, 5, -2, 3, 4, 2, 1, -2, -5,
    2, -1, 2, 1, 5, 3, 2, 7,
], float)  # fmt: skip


def ar1(rng, rho, n, repeats):
    """Stationary Gaussian AR(1) series, shape (repeats, n)."""
    shocks = rng.standard_normal((repeats, n))
    shocks[:, 0] /= np.sqrt(1 - rho * rho)
    return signal.lfilter([1.0], [1.0, -rho], shocks, axis=1)


def test_worked_series_gives_the_recorded_error_and_interval():
    got = mean_with_error(SERIES)
    assert got.mean == approx(0.741666667, abs=1e-9)
    assert got.effective_n == approx(8.691460130, abs=1e-8)
    assert got.se == approx(0.675690716, abs=1e-9)
    assert (got.low, got.high) == approx((-0.827425994, 2.310759327), abs=1e-8)


@pytest.mark.parametrize("rho", [0.3, 0.6, 0.8])
@pytest.mark.parametrize("n", [120, 300])
def test_interval_covers_the_true_mean_as_often_as_it_says(rho, n):
    rng = np.random.default_rng([11, int(10 * rho), n])
    repeats = 2000
    hits = sum((e := mean_with_error(x)).low <= 0.0 <= e.high for x in ar1(rng, rho, n, repeats))
    # 93-97 % is the claim; 2 000 repeats add a Monte Carlo error of 0.5 %, two of which are given.
    assert 0.92 <= hits / repeats <= 0.98


def test_ignoring_the_correlation_would_fail_this_check():
    """Guards the check itself: s / sqrt(n) covers about a third at rho = 0.8."""
    x = ar1(np.random.default_rng(3), 0.8, 300, 500)
    half = 1.97 * x.std(axis=1, ddof=1) / np.sqrt(300)
    assert np.mean(np.abs(x.mean(axis=1)) <= half) < 0.6


def test_too_short_a_series_has_no_interval():
    assert mean_with_error(np.arange(24.0)) is None
