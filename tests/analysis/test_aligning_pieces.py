"""Clocks that stood still or leapt within a recording: each stretch finds its own shift."""

import numpy as np
import pytest
from pytest import approx
from trials import arrays, clock_stopped

from analysis.aligning import align
from analysis.pipeline import compare
from made import recording
from sample_data.ride_model import hold_plan

PLAN = hold_plan([150, 200, 250, 180, 150, 220, 260])
AHEAD_S = 6.4


def stopped(seed, at_s, length_s, which, **device):
    device, reference = arrays(seed, plan=PLAN, clock_ahead_s=AHEAD_S, **device)
    if which == "device":
        device = clock_stopped(device, at_s, length_s)
    else:
        reference = clock_stopped(reference, at_s, length_s)
    return recording(device, "device"), recording(reference, "reference")


@pytest.mark.parametrize("which", ["device", "reference"])
@pytest.mark.parametrize("at_s,length_s", [(200, 3), (900, 5), (900, 20), (200, 45.3), (900, 120), (200, 600)])
def test_a_clock_that_stood_still_is_found_with_its_length(which, at_s, length_s):
    device, reference = stopped(int(at_s + length_s), at_s, length_s, which, lag_s=1.0)
    got = align(device, reference, label="device")
    assert got.settled
    before, after = got.pieces
    assert before.shift_s == approx(-AHEAD_S, abs=0.15)
    jump_s = length_s if which == "device" else -length_s
    assert after.shift_s == approx(-AHEAD_S + jump_s, abs=0.15)
    assert before.end_s - device.start_s == approx(at_s, abs=25)  # in a steady stretch the second itself does not show
    assert ("stood still" if which == "device" else "leapt ahead") in got.note


@pytest.mark.parametrize("which", ["device", "reference"])
def test_aligned_stamps_ascend_and_what_has_no_time_is_left_out(which):
    device, reference = stopped(3, 900, 60, which)
    got = compare([reference, device])
    placed = got.trial.recordings[1]
    assert (np.diff(placed.time_s) > 0).all()
    lost = len(device.samples) - placed.time_s.size
    assert lost == (0 if which == "device" else approx(60, abs=1))
    whole = next(d for kind, d in got.summary if kind == "all")
    assert whole.delta_pct == approx(0, abs=0.5)
    tree = got.to_dict()["alignment"][1]["pieces"]
    assert (tree[0]["start_s"], tree[-1]["end_s"]) == (None, None)
    assert tree[0]["end_s"] == approx(900, abs=30)


def test_a_pause_during_which_the_clock_runs_on_is_one_stretch():
    device, reference = arrays(4, plan=PLAN, clock_ahead_s=AHEAD_S, pauses_s=[(400, 700)])
    got = align(recording(device, "d"), recording(reference, "r"), label="d")
    assert got.pieces == ()
    assert got.shift_s == approx(-AHEAD_S, abs=0.1)


def test_clean_and_drifting_clocks_are_never_cut():
    for seed in range(25):
        device, reference = arrays(seed, plan=PLAN, clock_ahead_s=seed / 7, clock_fast_ppm=300.0 * (seed % 2), lag_s=seed / 10)
        assert align(recording(device, "d"), recording(reference, "r"), label="d").pieces == ()
