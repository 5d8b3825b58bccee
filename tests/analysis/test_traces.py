"""Step functions and pairs: exact means by hand, holes neither filled nor counted as zero."""

import numpy as np
from pytest import approx

from analysis.traces import pair_of, steps_of


def steps(values, start=0.0, interval=1.0):
    return steps_of(start + interval * np.arange(len(values)), values, interval_s=interval)


def test_means_weigh_by_time():
    s = steps_of([0.0, 1.0, 2.0, 4.0], [100.0, 100.0, 200.0, 400.0], interval_s=1.0)
    # 200 W from 1.5 to 2.75 (three quarters of a second is the most it may stand for), a hole, 400 W from 3.25
    assert s.means([1.5], [3.5])[0] == approx((1.25 * 200 + 0.25 * 400) / 1.5)


def test_a_missing_value_is_missing_and_a_zero_is_a_reading():
    assert steps([100, np.nan, 100]).means([-0.5], [2.5])[0] == approx(100)
    assert steps([100, 0, 100]).means([-0.5], [2.5])[0] == approx(200 / 3)


def test_mostly_uncovered_stretch_has_no_mean():
    assert np.isnan(steps([100, np.nan, np.nan, np.nan, 100]).means([0.0], [4.0])[0])


def test_pair_counts_only_time_that_both_cover():
    device, reference = steps([110, 110, np.nan, 110, 110]), steps([100, 100, 900, 100, np.nan])
    covered, device_ws, reference_ws = pair_of(device, reference).totals(-1.0, 6.0)
    assert covered == approx(3.0)
    assert device_ws / covered == approx(110)
    assert reference_ws / covered == approx(100)


def test_pair_of_other_rates_and_phases_keeps_the_work_exact():
    """Riemann sum on a fine grid as second method."""
    rng = np.random.default_rng(3)
    a = steps_of(np.arange(0, 300, 1.0), rng.uniform(100, 300, 300), interval_s=1.0)
    b = steps_of(np.arange(0.37, 300, 0.25), rng.uniform(100, 300, 1199), interval_s=0.25)
    fine = np.arange(20.0005, 250, 0.001)
    of_a = np.array([a.value[np.searchsorted(a.start_s, t, "right") - 1] for t in fine])
    _, device_ws, _ = pair_of(a, b).totals(20.0, 250.0)
    assert device_ws == approx(of_a.sum() * 0.001, rel=1e-4)


def test_recordings_that_never_overlap_share_nothing():
    covered, _, _ = pair_of(steps([100, 100]), steps([100, 100], start=500)).totals(-10, 600)
    assert covered == 0.0


def test_seconds_without_enough_common_time_are_left_out():
    device, reference = steps(np.full(60, 110.0)), steps(np.r_[np.full(30, 100.0), np.full(10, np.nan), np.full(20, 100.0)])
    device_w, reference_w = pair_of(device, reference).by_second(0.0, 59.0)
    # ten seconds are lost; the edges of the hole lie half-way between samples, so one second is half covered on each side
    assert device_w.size == 50
    assert set(reference_w) == {100.0}
