"""Referee: generated trials with planted clocks. Errors, and whether the stated errors are honest."""

import numpy as np
import pytest
from pytest import approx
from scipy import signal
from trials import LONG_PLAN, PLAN, arrays, pair, thinned

from analysis.aligning import align
from analysis.grids import gridded
from analysis.pipeline import compare
from made import recording

AHEAD_S = np.random.default_rng(11).uniform(-20, 20, 200)


def test_stated_errors_cover_the_true_shift_in_90_to_98_of_100():
    """200 seeds, half of them started late: with and without the sync pattern, few and many edges."""
    inside, errors = [], []
    for seed, ahead in enumerate(AHEAD_S):
        got = align(*pair(seed, clock_ahead_s=ahead, from_s=(seed % 2) * (100 + seed)), label="device")
        assert got.settled
        errors.append(got.shift_s + ahead)
        inside.append(abs(errors[-1]) <= 1.96 * got.shift_se_s)
    assert max(np.abs(errors)) <= 0.15
    assert 0.90 <= np.mean(inside) <= 0.985  # 98 %, and one in 200 for chance


SHAPES = {
    "a late response": {"lag_s": 1.6, "smoothing_s": 3.0},
    "holes and pauses while the clock runs on": {"dropouts_s": [(100, 160), (700, 703)], "pauses_s": [(400, 520)]},
    "started late, stopped early": {"from_s": 250, "to_s": 950},
    "four samples a second": {"rate_hz": 4.0},
    "a sample every two seconds": {"rate_hz": 0.5},
    "a clock five hours off": {"hours": 5},
    "a clock three days off": {"hours": -72},
}


@pytest.mark.parametrize("shape", SHAPES, ids=str)
def test_shift_is_found_within_fifteen_hundredths(shape):
    given = dict(SHAPES[shape])
    far = 3600.0 * given.pop("hours", 0)
    for seed, ahead in enumerate(AHEAD_S[:8]):
        got = align(*pair(seed, clock_ahead_s=far + ahead, **given), label="device")
        assert got.settled
        assert got.shift_s == approx(-far - ahead, abs=0.15)


@pytest.mark.parametrize("which", ["device", "both"])
def test_recorders_that_write_on_change_are_found_within_their_own_error(which):
    """A sample every three to seven seconds: the error is larger, and said to be."""
    inside = []
    for seed, ahead in enumerate(AHEAD_S[:20]):
        device, reference = arrays(seed, clock_ahead_s=ahead)
        reference = thinned(reference, 99 + seed) if which == "both" else reference
        got = align(recording(thinned(device, seed), "d"), recording(reference, "r"), label="d")
        assert got.settled
        assert got.shift_s == approx(-ahead, abs=0.6)
        inside.append(abs(got.shift_s + ahead) <= 1.96 * got.shift_se_s)
    assert np.mean(inside) >= 0.85


def test_jittering_stamps_cost_little():
    for seed, ahead in enumerate(AHEAD_S[:8]):
        device, reference = arrays(seed, clock_ahead_s=ahead)
        jitter = np.random.default_rng(seed).uniform(-0.3, 0.3, device["time_s"].size)
        device = {**device, "time_s": np.sort(device["time_s"] + jitter)}
        assert align(recording(device, "d"), recording(reference, "r"), label="d").shift_s == approx(-ahead, abs=0.15)


def test_full_cross_correlation_says_the_same_on_clean_data():
    """Second method: `scipy.signal` on data joined to 10 Hz; joining draws it to whole and half samples by up to 0.2 s."""
    for seed, ahead in enumerate(AHEAD_S[:4]):
        device, reference = pair(seed, clock_ahead_s=ahead)
        a, b = (gridded(r, "cadence_rpm") for r in (device, reference))
        fine = [np.interp(np.arange(0, g.value.size - 1, 0.1), np.arange(g.value.size), g.value) for g in (a, b)]
        fine = [v - v.mean() for v in fine]
        r = signal.correlate(fine[1], fine[0], method="fft")
        lag = signal.correlation_lags(fine[1].size, fine[0].size)[np.argmax(r)] / 10
        assert align(device, reference, label="d").shift_s == approx(lag + b.start_s - a.start_s, abs=0.25)


@pytest.mark.parametrize("ppm", [0.0, 20.0, 60.0, -150.0])
def test_clock_rate_is_unbiased_and_its_interval_honest(ppm):
    found, inside = [], []
    for seed, ahead in enumerate(AHEAD_S[:10]):
        got = align(*pair(seed, plan=LONG_PLAN, clock_fast_ppm=ppm, clock_ahead_s=ahead), label="device")
        found.append(got.drift_ppm)
        inside.append(got.drift_ci_ppm[0] <= -ppm <= got.drift_ci_ppm[1])
        assert got.drift_applied == (abs(got.drift_ppm) > 3 * got.drift_se_ppm)
        middle_s = got.pivot_s - 1_768_673_100.0
        true_s = (middle_s - ahead) / (1 + ppm * 1e-6)
        assert got.to_reference(np.array([got.pivot_s]))[0] - 1_768_673_100.0 == approx(true_s, abs=0.15)
    assert np.mean(found) == approx(-ppm, abs=8)
    assert np.mean(inside) >= 0.8
    if abs(ppm) >= 60:
        assert all(f != 0 for f in found)


def test_short_rides_say_nothing_of_the_clock_rate():
    got = align(*pair(1, plan=PLAN, clock_fast_ppm=80), label="device")
    assert (got.drift_ppm, got.drift_ci_ppm, got.drift_applied) == (0.0, None, False)


@pytest.mark.parametrize("device", [{}, {"lag_s": 1.6}, {"lag_s": -1.2}, {"lag_s": 0.7, "smoothing_s": 3.0}], ids=str)
def test_response_lag_is_what_remains_of_the_delay(device):
    inside = []
    for seed, ahead in enumerate(AHEAD_S[:6]):
        late, reference = pair(seed, clock_ahead_s=ahead, **device)
        got = compare([reference, late]).response[0]
        assert got.lag_s == approx(device.get("lag_s", 0.0), abs=0.15)
        inside.append(got.lag_ci_s[0] <= device.get("lag_s", 0.0) <= got.lag_ci_s[1])
    assert np.mean(inside) >= 0.8


def test_another_sampling_rate_is_said_to_blur_the_lag():
    """Means over a quarter of a second stamped at their end lie 0.375 s from means over a second stamped at theirs."""
    late, reference = pair(1, clock_ahead_s=4.4, lag_s=1.6, rate_hz=4.0)
    got = compare([reference, late])
    answer = got.response[0]
    assert answer.lag_ci_s[0] <= 1.6 <= answer.lag_ci_s[1]
    assert "every 0.25 s, the reference every 1 s" in answer.note
    assert "every 0.25 s" in got.alignment[1].note
