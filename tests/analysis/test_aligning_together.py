"""Several signals and several recordings: what is combined, what is chosen, what does not fit together; shifts by hand."""

import numpy as np
from pytest import approx
from trials import PLAN, arrays, pair

from analysis.aligning import align
from analysis.consistency import Clocked, align_all
from analysis.pipeline import compare
from analysis.setup import DeviceSetup, Setup
from made import recording, without
from sample_data.ride_model import record, ride


def several(seed, clocks, **channels):
    """One ride on several clocks; `channels` gives for an index what it lacks."""
    truth = ride(PLAN, seed=seed)
    made = [record(truth, seed=10 * seed + k, noise_frac=0.01, clock_ahead_s=c) for k, c in enumerate(clocks)]
    made = [recording(without(m, *channels.get(f"lacks_{k}", ())), f"{k}") for k, m in enumerate(made)]
    return [Clocked(label=r.name, recording=r) for r in made]


def by_via(got):
    return {c.via: c for c in got.candidates}


def test_signals_that_agree_are_combined_and_each_is_shown():
    got = align(*pair(1, clock_ahead_s=4.4, lag_s=1.6), label="device")
    said = by_via(got)
    assert set(said) == {"heart_rate", "cadence", "power"}
    assert [said[v].used for v in ("heart_rate", "cadence", "power")] == [True, True, False]
    low, high = sorted(said[v].shift_s for v in ("heart_rate", "cadence"))
    assert low <= got.shift_s <= high
    assert got.shift_se_s <= min(said[v].shift_se_s for v in ("heart_rate", "cadence")) + 1e-9
    assert said["power"].shift_s == approx(-6.0, abs=0.15)
    for candidate in got.candidates:
        assert len(candidate.curve.shift_s) == len(candidate.curve.correlation) <= 121
        top = candidate.curve.shift_s[int(np.argmax(candidate.curve.correlation))]
        assert top == approx(candidate.shift_s, abs=0.6)


def test_signals_that_disagree_are_not_averaged_and_the_page_is_told():
    """A heart-rate strap that one unit shows 20 s late; cadence matches more closely, and two signals beat one."""
    device, reference = arrays(2, clock_ahead_s=4.4)
    late = np.roll(device["heart_rate_bpm"], 20)
    late[:20] = np.nan
    got = align(recording({**device, "heart_rate_bpm": late}, "d"), recording(reference, "r"), label="d")
    assert got.via == "cadence"
    assert got.shift_s == approx(-4.4, abs=0.1)
    assert "disagree by 20" in got.note
    assert not by_via(got)["heart_rate"].used


def test_temperature_is_never_matched():
    device, reference = arrays(3, clock_ahead_s=4.4)
    keep = ("time_s", "temperature_degc", "power_w")
    got = align(*(recording({k: v for k, v in one.items() if k in keep}, n) for one, n in ((device, "d"), (reference, "r"))),
                label="d")  # fmt: skip
    assert set(by_via(got)) == {"power"}


def test_clocks_alone_are_told_beside_what_was_found():
    assert align(*pair(1, clock_ahead_s=4.4), label="d").clock_shift_s == 0.0


def test_by_hand_says_what_the_signals_say_and_keeps_them_visible():
    far = align(*pair(1, clock_ahead_s=4.4), label="d", by_hand_s=-3.0)
    assert "1.4 s more" in far.note
    near = align(*pair(1, clock_ahead_s=4.4), label="d", by_hand_s=-4.4)
    assert "The signals say -4." in near.note
    assert "more" not in near.note
    assert {c.via for c in near.candidates} == {"heart_rate", "cadence", "power"}
    assert not any(c.used for c in near.candidates)
    assert far.correlation < near.correlation


def test_lag_after_a_shift_by_hand_moves_with_it_and_says_so():
    device, reference = pair(1, clock_ahead_s=4.4, lag_s=1.6)
    got = {}
    for hand in (-4.4, -3.9):
        setup = Setup(devices=(DeviceSetup(file="device", label="d", shift_s=hand),))
        got[hand] = compare([reference, device], setup).response[0]
        assert "by hand" in got[hand].note
    assert got[-4.4].lag_s == approx(1.6, abs=0.15)
    assert got[-3.9].lag_s - got[-4.4].lag_s == approx(0.5, abs=0.1)


def test_shifts_of_four_recordings_close_every_triangle():
    clocks = (0.0, 3.37, -8.81, 14.2)
    found, misfits = align_all(several(5, clocks))
    assert misfits == ()
    for alignment, ahead in zip(found, clocks, strict=True):
        assert alignment.shift_s == approx(-ahead, abs=0.1)
    assert found[1].shift_s - found[2].shift_s == approx(clocks[2] - clocks[1], abs=0.1)


def test_solving_together_does_not_spoil_the_single_shifts():
    errors = []
    for seed in range(8):
        clocks = (0.0, *np.random.default_rng(seed).uniform(-20, 20, 3))
        found, _ = align_all(several(seed, clocks))
        errors += [a.shift_s + c for a, c in zip(found[1:], clocks[1:], strict=True)]
    assert np.sqrt(np.mean(np.square(errors))) <= 0.03


def test_a_pair_that_does_not_fit_the_others_is_named():
    """Two units that hear a cadence sensor 2 s late agree with each other; heart rate puts one of them elsewhere."""
    truth = ride(PLAN, seed=6)
    reference, one, two = (record(truth, seed=k, noise_frac=0.01) for k in range(3))
    for late in (one, two):
        late["cadence_rpm"] = np.concatenate((np.full(2, np.nan), late["cadence_rpm"][:-2]))
    one, reference = without(one, "heart_rate_bpm"), reference
    two["cadence_rpm"][np.arange(two["cadence_rpm"].size) % 900 > 300] = np.nan
    clocked = [Clocked(label=n, recording=recording(r, n)) for n, r in (("hub", reference), ("spider", one), ("pedals", two))]
    _, misfits = align_all(clocked)
    assert len(misfits) == 1
    assert "spider" in misfits[0] and "pedals" in misfits[0] and "hub" in misfits[0]


def test_an_unmatched_recording_goes_by_way_of_another():
    """The reference has no channel in common but flat power; another recording shares cadence with both."""
    clocked = several(7, (0.0, 5.3, -2.6), lacks_0=("cadence_rpm",), lacks_2=("heart_rate_bpm",))
    frame = clocked[2].recording.samples
    frame["power_w"] = 200 + np.random.default_rng(1).normal(0, 3, len(frame))
    found, _ = align_all(clocked)
    assert found[2].settled
    assert found[2].shift_s == approx(2.6, abs=0.15)
    assert "by way of 1" in found[2].note
    assert found[2].shift_se_s > found[1].shift_se_s
