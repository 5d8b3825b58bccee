"""The sync pattern: recognised where it was ridden, nowhere else, and what it settles."""

import numpy as np
import pytest
from pytest import approx
from trials import PLAN, arrays

from analysis.aligning import align
from analysis.sync_pattern import find_patterns, pattern_bursts, pattern_lag
from made import recording
from sample_data.ride_model import Step, record, ride, sync_pattern

N = 1800


def intervals(pattern=True):
    """Thirty equal intervals, ridden with or without the pattern before them."""
    hard, easy = Step(name="on", duration_s=40, target_w=300), Step(name="off", duration_s=20, target_w=150)
    start = [Step(name="easy", duration_s=60, target_w=120)]
    return [*start, *(sync_pattern() if pattern else []), *start, *([hard, easy] * 30)]


@pytest.mark.parametrize("smoothing_s", [0.0, 3.0, 5.0])
def test_pattern_is_found_where_it_was_ridden(smoothing_s):
    """It begins 30 s into the plan."""
    for seed in range(6):
        device, _ = arrays(seed, smoothing_s=smoothing_s, lag_s=smoothing_s / 2)
        found = find_patterns(device["power_w"])
        assert len(found) == 1
        assert found[0] == approx(30 + smoothing_s / 2, abs=2.5)


@pytest.mark.parametrize("on_s,off_s", [(10, 10), (15, 15), (10, 20), (20, 10), (30, 30), (40, 20), (10, 15)])
def test_equal_intervals_are_no_pattern(on_s, off_s):
    rng = np.random.default_rng(1)
    power = 300.0 * ((np.arange(N) % (on_s + off_s)) < on_s) + rng.normal(0, 5, N)
    assert find_patterns(power) == ()


def test_noise_and_holds_are_no_pattern():
    rng = np.random.default_rng(2)
    assert find_patterns(200 + rng.normal(0, 20, 20000)) == ()
    assert find_patterns(np.full(500, np.nan)) == ()
    assert find_patterns(np.zeros(30)) == ()


def test_patterns_at_both_ends_agree_on_one_lag_and_a_lone_pair_of_two_does_not():
    assert pattern_lag((10, 3000), (25, 3016)) in (15, 16)
    assert pattern_lag((10,), (25, 3016)) is None
    assert pattern_lag((), (25,)) is None


def test_pattern_settles_a_session_of_equal_intervals():
    """Without the pattern the same session has several answers; power alone is shared, with noise of its own."""
    from scipy.ndimage import uniform_filter1d

    for with_pattern in (True, False):
        truth = ride(intervals(with_pattern), seed=1)
        made = []
        for seed, ahead in ((1, 0.0), (2, 7.3)):
            one = record(truth, seed=seed, noise_frac=0.03, clock_ahead_s=ahead)
            made.append(recording({k: one[k] for k in ("time_s", "power_w")}, f"{seed}"))
        got = align(made[1], made[0], label="device")
        assert uniform_filter1d(made[0].samples["power_w"].to_numpy(), 5).max() > 250
        assert (got.pattern_shift_s is not None) == with_pattern
        if with_pattern:
            assert got.settled
            assert got.shift_s == approx(-7.3, abs=0.15)
            assert got.pattern_shift_s == approx(-7.3, abs=1.5)


def test_pattern_ridden_twice_gives_the_same_shift():
    plan = [*PLAN, *sync_pattern()]
    device, reference = arrays(3, plan=plan, clock_ahead_s=-4.6)
    got = align(recording(device, "d"), recording(reference, "r"), label="d")
    assert got.shift_s == approx(4.6, abs=0.1)
    assert got.pattern_shift_s == approx(4.6, abs=1.5)


def test_its_bursts_are_told_from_sprints_by_when_they_begin():
    assert pattern_bursts([100.0, 121.0, 149.0, 400.0, 430.0]) == {0, 1, 2}
    assert pattern_bursts([0.0, 30.0, 60.0, 90.0, 120.0]) == frozenset(), "surges of 15 s on and off"
    assert pattern_bursts([]) == frozenset()
