"""What is said of blocks beyond their edges: level groups, fixed power, trims that a verdict must not hang on."""

from dataclasses import replace

import numpy as np
import pytest
from protocols import FAST, LATE, fixed_power, holds, step

from analysis.blocks import find_blocks
from analysis.consensus import consensus_of
from analysis.describing import described
from analysis.judging import judge_pooled
from analysis.sensitivity import Sensitivity, sensitivity_of, settled
from made import trial_of
from sample_data.ride_model import hold_plan, record, ride

LADDER = [step("easy", 120, 100, "free"), *holds((160, 200, 240, 200, 160), 180, step("easy", 60, 100, "free"))]


def blocks_and_trial(truth, *devices):
    trial = trial_of([record(truth, seed=50 + i, **d) for i, d in enumerate(devices)])
    return described(trial, find_blocks(consensus_of(trial))), trial


def held(blocks):
    return [b for b in blocks if b.kind == "steady"]


@pytest.mark.parametrize("seed", range(4))
def test_holds_of_one_level_share_a_group(seed):
    blocks, _ = blocks_and_trial(ride(LADDER, seed=seed), FAST, LATE)
    groups = [b.level_group for b in held(blocks) if b.length_s > 100]
    assert len(groups) == 5
    assert groups[0] == groups[4] and groups[1] == groups[3]
    assert len(set(groups)) == 3
    assert all(b.level_group is None for b in blocks if b.kind != "steady")


@pytest.mark.parametrize("seed", range(4))
def test_a_reading_that_follows_its_target_too_well_is_named(seed):
    """The trainer shows its target, the pedals what the rider does."""
    truth = ride(LADDER, seed=seed)
    target = record(fixed_power(truth, LADDER), seed=1, noise_frac=0.003)
    trial = trial_of([target, record(truth, seed=2, **FAST)])
    blocks = described(trial, find_blocks(consensus_of(trial)))
    flagged = [b.fixed_power_in for b in held(blocks) if b.length_s > 100]
    assert len(flagged) == 5
    assert all(labels == ("a",) for labels in flagged)


@pytest.mark.parametrize("smoothing_s", [1.0, 3.0, 5.0])
def test_free_riding_of_a_hold_is_not_taken_for_fixed_power(smoothing_s):
    """Neither is a smoothed reading of it."""
    for seed in range(3):
        blocks, _ = blocks_and_trial(ride(LADDER, seed=seed), FAST, {"noise_frac": 0.003, "smoothing_s": smoothing_s})
        assert not any(b.fixed_power_in for b in blocks)


def test_other_trims_move_a_true_gain_hardly_at_all():
    blocks, trial = blocks_and_trial(ride(LADDER, seed=1), FAST, {**FAST, "gain": 1.02})
    spans = [(b.interior_start_s, b.interior_end_s) for b in held(blocks)]
    got = sensitivity_of(trial, held(blocks), judge_pooled(trial, "b", spans))
    assert got.low_pct <= got.delta_pct <= got.high_pct
    assert got.high_pct - got.low_pct < 0.3
    assert not got.flips


def test_a_device_that_is_wrong_only_at_the_entry_is_noticed():
    """A device that overshoots for 38 s after every entry: what is said of it depends on the trim, so it is not said."""
    plan = hold_plan([150, 200, 250, 200])
    truth = ride(plan, seed=2)
    first = np.array([truth.time_s[truth.step == i][0] for i, s in enumerate(plan) if s.kind == "steady"])
    since = np.min(np.where(truth.time_s[:, None] >= first, truth.time_s[:, None] - first, np.inf), axis=1)
    blocks, trial = blocks_and_trial(truth, FAST, {**FAST, "gain": np.where(since < 38, 1.10, 1.0)})
    spans = [(b.interior_start_s, b.interior_end_s) for b in held(blocks)]
    got = sensitivity_of(trial, held(blocks), judge_pooled(trial, "b", spans))
    assert got.high_pct - got.low_pct > 0.5
    assert got.high_pct > got.delta_pct


def test_a_verdict_that_flips_is_withdrawn_with_its_reason():
    blocks, trial = blocks_and_trial(ride(LADDER, seed=1), FAST, FAST)
    judged = judge_pooled(trial, "b", [(b.interior_start_s, b.interior_end_s) for b in held(blocks)])
    assert judged.verdict == "within"
    steady = Sensitivity(label="b", kind="steady", delta_pct=0.0, low_pct=0.0, high_pct=0.0, flips=False)
    assert settled(judged, steady) == judged
    withdrawn = settled(judged, replace(steady, flips=True))
    assert withdrawn.verdict == "unsettled"
    assert "trimmed 10 s more or less" in withdrawn.reason
    assert withdrawn.delta_pct == judged.delta_pct
