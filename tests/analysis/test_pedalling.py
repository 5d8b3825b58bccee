"""Pedal dynamics: means by work, angles round the clock, by block and kind, what may be held against what."""

import numpy as np
import pytest
from pytest import approx

from analysis.blocks import Block
from analysis.pedalling import angle_between, circular_mean_sd, mean_left_share, pedalling_of
from made import trial_of

N = 600


def blocks(*kinds):
    return [Block(id=f"B{i + 1:02d}", start_s=100 * i, end_s=100 * i + 100, kind=k, level_w=200, cadence_rpm=90, name="",
                  interior_start_s=100 * i + 10, interior_end_s=100 * i + 95) for i, k in enumerate(kinds)]  # fmt: skip


KINDS = blocks("steady", "free", "steady", "steady", "transient", "steady")


def trial(points=("pedal", "crank"), power=None, **channels):
    """Two recordings; a channel is given as a pair of arrays or numbers."""
    t = np.arange(float(N))
    power = np.full(N, 200.0) if power is None else power
    devices = [
        {"time_s": t, "power_w": power, **{k: np.broadcast_to(np.asarray(v[i], float), N) for k, v in channels.items()}}
        for i in range(2)
    ]
    return trial_of(devices, points=points)


def value(got, label, quantity, *, kind="steady", block=None):
    return next(v for v in got.values if (v.label, v.quantity, v.kind, v.block) == (label, quantity, kind, block))


def test_left_share_is_weighted_by_power_and_rest_is_left_out():
    power = np.where(np.arange(N) % 2, 300.0, 100.0)
    power[50:60] = 0.0
    share = np.where(power == 300, 0.50, np.where(power == 100, 0.46, 0.90))
    got = value(pedalling_of(trial(power=power, left_share_frac=(share, share)), KINDS), "a", "left share")
    assert got.mean == approx(100 * (0.50 * 3 + 0.46) / 4, abs=0.02)
    assert got.n == 390


def test_angles_are_averaged_round_the_clock():
    """350 and 10 degrees have their mean at the top, not at the bottom."""
    mean, sd = circular_mean_sd(np.array([350.0, 10.0]))
    assert angle_between(mean, 0.0) == approx(0.0, abs=1e-9)
    assert sd == approx(np.degrees(np.sqrt(-2 * np.log(np.cos(np.radians(10))))))
    assert angle_between(5, 355) == approx(10)
    assert angle_between(355, 5) == approx(-10)


def test_circular_mean_equals_scipy():
    from scipy import stats

    angles = np.random.default_rng(1).vonmises(3.0, 4.0, 500)
    mean, sd = circular_mean_sd(np.degrees(angles))
    assert mean == approx(np.degrees(stats.circmean(angles)), abs=1e-9)
    assert sd == approx(np.degrees(stats.circstd(angles)), abs=1e-9)


def test_power_phase_of_two_devices_differs_the_short_way_round():
    wobble = np.where(np.arange(N) % 2, 4.0, -4.0)
    phase = ((358.0 + wobble) % 360, (6.0 + wobble) % 360)
    got = next(d for d in pedalling_of(trial(left_phase_start_deg=phase), KINDS).differences)
    assert (got.label, got.against, got.quantity) == ("b", "a", "left power phase start")
    assert got.delta == approx(8.0, abs=0.2)


def test_values_stand_by_block_and_by_kind():
    share = np.repeat([0.48, 0.49, 0.50, 0.48, 0.52, 0.50], 100)
    got = pedalling_of(trial(left_share_frac=(share, share)), KINDS)
    assert value(got, "a", "left share", block="B03").mean == approx(50)
    assert value(got, "a", "left share", kind="transient", block="B05").mean == approx(52)
    assert value(got, "a", "left share").mean == approx(49)


def test_balance_of_a_spider_is_not_held_against_that_of_pedals():
    shares = (np.full(N, 0.48), np.full(N, 0.50))
    like = pedalling_of(trial(left_share_frac=shares), KINDS).differences[0]
    unlike = pedalling_of(trial(points=("pedal", "spider"), left_share_frac=shares), KINDS).differences[0]
    assert like.comparable
    assert like.delta == approx(2.0)
    assert not unlike.comparable
    assert "half-revolutions" in unlike.why


def test_a_share_of_an_unnamed_side_is_shown_and_compared_with_nothing():
    got = pedalling_of(trial(one_side_share_frac=(0.48, 0.50)), KINDS)
    assert value(got, "a", "share of one side").mean == approx(48)
    assert got.differences == ()


def test_every_quantity_shown_has_its_definition_and_its_trap():
    got = pedalling_of(trial(left_torque_effectiveness_frac=(0.8, 0.82), combined_smoothness_frac=(0.2, 0.2),
                             right_platform_offset_mm=(3.0, 4.0)), KINDS)  # fmt: skip
    assert {q.name for q in got.definitions} == {v.quantity for v in got.values} == {
        "left torque effectiveness", "combined pedal smoothness", "right platform centre offset"
    }  # fmt: skip
    assert all(q.definition and q.not_with for q in got.definitions)


def test_share_comes_from_another_recording_than_the_device_itself():
    shares = trial(left_share_frac=(0.47, 0.52))
    assert mean_left_share(shares, without="a") == (approx(0.52), "b")
    assert mean_left_share(shares, without="b") == (approx(0.47), "a")
    assert mean_left_share(trial(), without="a") is None


def test_a_trial_without_pedal_dynamics_is_empty():
    got = pedalling_of(trial(), KINDS)
    assert (got.values, got.differences, got.definitions) == ((), (), ())


@pytest.mark.parametrize("kinds", [("idle",), ("gap", "idle")])
def test_rest_carries_no_pedalling(kinds):
    assert pedalling_of(trial(left_share_frac=(0.5, 0.5)), blocks(*kinds)).values == ()
