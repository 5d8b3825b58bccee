"""Clocks: known shifts and drifts are found again, ambiguity is said, strangers are refused."""

import numpy as np
import pytest
from pytest import approx

from analysis.aligning import align
from analysis.errors import NotOneRide
from made import recording, without
from sample_data.ride_model import hold_plan, record, ride

PLAN = hold_plan([150, 200, 250, 180])
POWER_ONLY = ("heart_rate_bpm", "cadence_rpm", "temperature_degc")


def pair(seed, *, drop=(), plan=PLAN, **device):
    truth = ride(plan, seed=seed)
    reference = record(truth, seed=1000 + seed, noise_frac=0.01)
    other = record(truth, seed=2000 + seed, noise_frac=0.01, **device)
    return recording(without(other, *drop), "device"), recording(without(reference, *drop), "reference")


@pytest.mark.parametrize("drop", [(), ("power_w", "heart_rate_bpm"), ("power_w", "cadence_rpm"), POWER_ONLY])
def test_known_shift_is_found_within_a_tenth_of_a_second(drop):
    """Whole seconds are not enough: the planted shifts are fractions."""
    shifts = np.random.default_rng(7).uniform(-20, 20, 12)
    for seed, ahead in enumerate(shifts):
        got = align(*pair(seed, drop=drop, clock_ahead_s=ahead), label="device")
        assert got.settled
        assert got.shift_s == approx(-ahead, abs=0.1)


def test_stated_errors_cover_the_true_shift():
    shifts = np.random.default_rng(8).uniform(-20, 20, 40)
    inside = []
    for seed, ahead in enumerate(shifts):
        got = align(*pair(seed, clock_ahead_s=ahead), label="device")
        inside.append(abs(got.shift_s + ahead) <= 1.96 * got.shift_se_s)
    assert np.mean(inside) >= 0.9


def test_a_late_device_is_not_aligned_away_where_another_signal_is_shared():
    got = align(*pair(3, clock_ahead_s=4.4, lag_s=1.6, smoothing_s=3.0), label="device")
    assert got.via in ("cadence", "heart_rate")
    assert got.shift_s == approx(-4.4, abs=0.1)


def test_with_power_alone_the_shift_holds_the_lag_and_says_so():
    got = align(*pair(3, drop=POWER_ONLY, clock_ahead_s=4.4, lag_s=1.6), label="device")
    assert got.via == "power"
    assert got.shift_s == approx(-6.0, abs=0.15)
    assert "cannot be told apart" in got.note


@pytest.mark.parametrize("ahead_s", [3600 * 5 + 0.3, -86400 * 3 + 0.7])
def test_a_clock_wrong_by_hours_or_days_is_found_without_being_told(ahead_s):
    got = align(*pair(2, clock_ahead_s=ahead_s, from_s=200, to_s=1000), label="device")
    assert got.settled
    assert got.shift_s == approx(-ahead_s, abs=0.1)


@pytest.mark.parametrize("rate_hz", [4.0, 0.5])
def test_other_recording_rates_align(rate_hz):
    """A device's power and cadence are means over its own period, so those lie half the difference of periods apart."""
    got = align(*pair(5, rate_hz=rate_hz, clock_ahead_s=-3.3), label="device")
    assert got.settled
    assert got.shift_s == approx(3.3, abs=0.15 + abs(1 - 1 / rate_hz) / 2)


def test_clock_rate_is_measured_and_applied_where_it_is_certain():
    plan = hold_plan([150, 200, 250, 180, 150, 220, 260, 180, 200, 160, 240, 120] * 3)
    got = align(*pair(4, plan=plan, clock_fast_ppm=80), label="device")
    assert got.drift_ppm == approx(-80, abs=20)
    assert got.drift_applied
    device, reference = pair(4, plan=plan)
    assert not align(device, reference, label="device").drift_applied


def test_flat_riding_is_never_settled():
    """200 W with independent noise on both: nothing shared, so no number may look certain."""
    rng = np.random.default_rng(0)
    t = np.arange(1800.0)
    for _ in range(100):
        made = [recording({"time_s": 1.7e9 + t, "power_w": 200 + rng.normal(0, 3, t.size)}, n) for n in "ab"]
        assert not align(*made, label="a").settled


def test_a_pattern_that_repeats_exactly_is_never_settled():
    """Forty seconds on, twenty off, again and again: one repeat further fits as well."""
    rng = np.random.default_rng(1)
    t = np.arange(2400.0)
    power = 200 + 100 * ((t % 60) < 40)
    for _ in range(50):
        made = [recording({"time_s": 1.7e9 + t, "power_w": power + rng.normal(0, 3, t.size)}, n) for n in "ab"]
        got = align(*made, label="a")
        assert not got.settled
        assert "ambiguous" in got.note


def test_two_rides_without_common_time_are_refused_with_both_spans():
    device, _ = pair(1, plan=hold_plan([150, 220, 180], hold_s=240), clock_ahead_s=86400)
    _, reference = pair(9)
    with pytest.raises(NotOneRide, match=r"device and reference share no time .* UTC"):
        align(device, reference, label="device")


def test_a_shift_by_hand_is_taken_as_it_is_and_called_so():
    got = align(*pair(1, clock_ahead_s=4.4), label="device", by_hand_s=-4.0)
    assert (got.shift_s, got.via, got.settled) == (-4.0, "manual", True)
