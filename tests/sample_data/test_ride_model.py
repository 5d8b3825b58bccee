"""The model against its own definitions: what is planted must be in the arrays, or tests built on it mean nothing."""

import numpy as np
import pytest

from sample_data.ride_model import EPOCH_S, Step, downstream, hold_plan, record, ride

PLAN = hold_plan([150, 250, 200], hold_s=120.0)
CLEAN = {"cadence_noise_rpm": 0.0, "resolution_w": 0.0}


@pytest.fixture(scope="module")
def truth():
    return ride(PLAN, seed=11)


def test_same_seed_same_ride_and_other_seed_another(truth):
    np.testing.assert_array_equal(truth.power_w, ride(PLAN, seed=11).power_w)
    assert not np.array_equal(truth.power_w, ride(PLAN, seed=12).power_w)


def test_holds_are_held_with_the_stated_noise(truth):
    """Mean within 2 % (1 % wander, 3.5 % noise of 4 s), 1 s noise of 2.5 to 5 %, neighbouring seconds related."""
    hold = next(i for i, step in enumerate(PLAN) if step.target_w == 250)
    inside = np.flatnonzero(truth.step == hold)[100:]
    by_second = truth.power_w[inside][: len(inside) // 10 * 10].reshape(-1, 10).mean(axis=1)
    assert by_second.mean() == pytest.approx(250, rel=0.02)
    assert 0.025 < by_second.std() / by_second.mean() < 0.05
    assert np.corrcoef(by_second[:-1], by_second[1:])[0, 1] > 0.5


def test_perfect_device_has_the_work_of_the_truth(truth):
    got = record(truth, **CLEAN)
    # closed form: 1 s means on whole seconds add up to the integral between the first and the last stamp
    covered_j = truth.power_w[: 10 * (len(got["power_w"]) - 1)].sum() / 10
    assert got["power_w"][1:].sum() == pytest.approx(covered_j, rel=1e-9)


@pytest.mark.parametrize("ahead_s", [7.6, -3.4])
def test_a_clock_ahead_stamps_the_same_second_later(truth, ahead_s):
    """The sample stamped k is the mean over the true second that ends at k - ahead_s."""
    got = record(truth, clock_ahead_s=ahead_s, **CLEAN)
    own_s = got["time_s"] - EPOCH_S
    np.testing.assert_array_equal(own_s, np.round(own_s))
    tenths = np.round(10 * (own_s - ahead_s)).astype(int)[5:]
    expected = [truth.power_w[k - 10 : k].mean() for k in tenths]
    np.testing.assert_allclose(got["power_w"][5:], expected, rtol=1e-6, atol=1e-6)


def test_a_fast_clock_gains_on_the_true_one(truth):
    got = record(truth, rate_hz=10, clock_fast_ppm=5000, **CLEAN)
    plain = record(truth, rate_hz=10, **CLEAN)
    own_s, true_s = got["time_s"] - EPOCH_S, plain["time_s"] - EPOCH_S
    assert own_s[-1] == pytest.approx(1.005 * true_s[-1], abs=0.1)
    error_w = {ppm: got["power_w"] - np.interp(own_s / (1 + ppm * 1e-6), true_s, plain["power_w"]) for ppm in (0, 5000)}
    assert np.std(error_w[5000]) < 0.1 * np.std(error_w[0])


def test_lag_is_the_whole_mean_delay_and_only_of_power(truth):
    plain = record(truth, rate_hz=10, **CLEAN)
    late = record(truth, rate_hz=10, lag_s=1.6, smoothing_s=3.0, **CLEAN)
    np.testing.assert_array_equal(plain["cadence_rpm"], late["cadence_rpm"])
    np.testing.assert_array_equal(plain["heart_rate_bpm"], late["heart_rate_bpm"])
    lags = np.arange(0, 40)
    power = plain["power_w"] - plain["power_w"].mean()
    delayed = late["power_w"] - late["power_w"].mean()
    fit = [np.dot(power[: len(power) - k], delayed[k:]) for k in lags]
    assert lags[int(np.argmax(fit))] / 10 == pytest.approx(1.6, abs=0.11)


def test_smoothing_spreads_a_step_over_its_width():
    still = Step(name="still", duration_s=60, target_w=0, kind="idle")
    truth = ride([still, Step(name="on", duration_s=60, target_w=300)], seed=1)
    rise = {w: record(truth, rate_hz=10, smoothing_s=w, **CLEAN)["power_w"] for w in (0.0, 10.0)}
    width = {w: np.count_nonzero((p > 30) & (p < 260)) / 10 for w, p in rise.items()}
    assert width[10.0] > width[0.0] + 4.0


def test_gain_offset_and_loss_are_exact_on_means(truth):
    plain = record(truth, **CLEAN)["power_w"]
    assert record(truth, gain=1.03, **CLEAN)["power_w"] == pytest.approx(1.03 * plain)
    lossy = record(downstream(truth, loss_frac=0.02), **CLEAN)["power_w"]
    assert lossy == pytest.approx(0.98 * plain)
    whole = plain > 100
    assert (record(truth, offset_w=6.0, **CLEAN)["power_w"] - plain)[whole] == pytest.approx(6.0)
    assert not record(truth, offset_w=6.0, **CLEAN)["power_w"][plain == 0].any()


def test_dropouts_lose_power_and_cadence_and_pauses_lose_samples(truth):
    got = record(truth, dropouts_s=[(100, 140)], pauses_s=[(200, 230)])
    missing = got["time_s"][np.isnan(got["power_w"])] - EPOCH_S
    assert (missing.min(), missing.max(), len(missing)) == (100, 139, 40)
    assert np.isnan(got["cadence_rpm"]).sum() == 40
    assert np.isfinite(got["heart_rate_bpm"]).all()
    assert np.max(np.diff(got["time_s"])) == 31


def test_warming_reaches_both_ends():
    truth = ride(PLAN, seed=3, temperature_degc=(6.0, 17.0))
    assert truth.temperature_degc[[0, -1]] == pytest.approx([6.0, 17.0])
    assert np.all(np.diff(truth.temperature_degc) > 0)
