"""Own noise without a reference: Grubbs, JASA 1948;43:243, in the drift-proof form (half mean squared successive difference).

The twelve rows and their figures were computed two ways, one of them the three-cornered hat of a clock-statistics library.
"""

import numpy as np
import pytest
from pytest import approx

from analysis.agreement import own_variances

ROWS = np.array([
    [201, 199, 205], [250, 247, 252], [298, 300, 305], [151, 148, 150], [402, 399, 411], [351, 352, 353], [199, 203, 201],
    [249, 251, 258], [303, 298, 304], [149, 152, 158], [398, 401, 402], [352, 347, 359],
], float).T  # fmt: skip


def test_recorded_standard_deviations_of_three_devices():
    assert np.sqrt(own_variances(ROWS)) == approx([2.345207880, 2.486326242, 3.884701931], abs=1e-8)


def test_known_noises_are_recovered_from_a_long_ride():
    rng = np.random.default_rng(8)
    rider = 200 + np.cumsum(rng.normal(0, 0.5, 100_000))
    rows = np.stack([rider + rng.normal(0, sd, rider.size) for sd in (2.0, 3.0, 5.0)])
    assert np.sqrt(own_variances(rows)) == approx([2.0, 3.0, 5.0], abs=0.06)


def test_four_devices_average_over_all_threes():
    rng = np.random.default_rng(9)
    rows = np.stack([rng.normal(0, sd, 50_000) for sd in (1.0, 2.0, 3.0, 4.0)])
    assert np.sqrt(own_variances(rows)) == approx([1.0, 2.0, 3.0, 4.0], abs=0.12)


def test_equals_the_three_cornered_hat_of_a_clock_library():
    """allantools: Allan deviation at one step of the running total of each pair, three-cornered hat over them."""
    allantools = pytest.importorskip("allantools", reason="test-only peer; install the `test` extra")
    a, b, c = ROWS
    phases = [np.concatenate(([0.0], np.cumsum(d))) for d in (a - b, b - c, c - a)]
    _, found, _, _ = allantools.three_cornered_hat_phase(*phases, rate=1.0, taus=[1.0], function=allantools.adev)
    assert np.sqrt(own_variances(ROWS))[0] == approx(float(found[0]), abs=1e-9)


def test_sampling_error_of_the_quietest_is_as_the_formula_says_and_may_turn_negative():
    """sqrt((2 sA^4 + sA2 sB2 + sA2 sC2 + sB2 sC2) / (n - 1)) = 3.681 for 2, 3, 5 and n = 30, on covariances of white noise."""
    rng = np.random.default_rng(14)
    draws = []
    for _ in range(3000):
        x = np.stack([rng.normal(0, sd, 30) for sd in (2.0, 3.0, 5.0)])
        s = np.cov(x)
        draws.append(s[0, 0] - s[0, 1] - s[0, 2] + s[1, 2])
    assert np.std(draws) == approx(3.681, rel=0.06)
    assert np.mean(np.array(draws) < 0) == approx(0.134, abs=0.03)
