"""The partition: invariants, protocols with known edges, and what must not move an edge."""

import itertools

import numpy as np
import pytest

from analysis.blocks import entry_trim_s, find_blocks
from analysis.consensus import consensus_of
from made import trial_of
from sample_data.ride_model import Step, hold_plan, record, ride, sync_pattern


def step(name, duration_s, target_w, kind="steady", cadence_rpm=88.0):
    return Step(name=name, duration_s=duration_s, target_w=target_w, kind=kind, cadence_rpm=cadence_rpm)


EASY = step("easy", 60, 110, "free")
PROTOCOL = [
    step("easy", 240, 130, "free"), *sync_pattern(), EASY,
    *(s for w in (120, 160, 200, 220, 240, 280) for s in (step("hold", 180, w), EASY)),
    step("hold", 180, 200), step("hold", 180, 220), step("stop", 60, 0, "idle"),
    *(step("over-under", 45, w) for w in (150, 350, 450, 150, 350, 450)), step("easy", 300, 140, "free"),
    *(s for _ in range(4) for s in (step("sprint", 10, 700, "transient", 110.0), step("easy", 120, 110, "free"))),
]  # fmt: skip
FAST, LATE = {"noise_frac": 0.01}, {"noise_frac": 0.01, "gain": 1.05, "lag_s": 1.0, "smoothing_s": 3.0}


def blocks_of(*devices, seed=1, plan=PROTOCOL):
    truth = ride(plan, seed=seed)
    return find_blocks(consensus_of(trial_of([record(truth, seed=50 + i, **d) for i, d in enumerate(devices)])))


def iou(start, end, block):
    common = max(0.0, min(end, block.end_s) - max(start, block.start_s))
    return common / (max(end, block.end_s) - min(start, block.start_s))


@pytest.mark.parametrize("seed", range(4))
def test_every_second_lies_in_exactly_one_block(seed):
    blocks = blocks_of({**FAST, "dropouts_s": [(500, 540)]}, {**LATE, "pauses_s": [(900, 1000)]}, seed=seed)
    for before, after in itertools.pairwise(blocks):
        assert after.start_s == before.end_s
    assert all(b.end_s > b.start_s for b in blocks)
    assert all(b.start_s <= b.interior_start_s < b.interior_end_s <= b.end_s for b in blocks)
    assert sum(b.end_s - b.start_s for b in blocks) == blocks[-1].end_s - blocks[0].start_s
    assert {b.kind for b in blocks} <= {"steady", "transient", "free", "idle", "gap"}


def test_holds_of_a_known_protocol_are_found_where_they_were_ridden():
    edges = np.cumsum([0.0, *(s.duration_s for s in PROTOCOL)])
    found, total = 0, 0
    for seed in range(6):
        steady = [b for b in blocks_of(FAST, LATE, seed=seed) if b.kind == "steady"]
        for start, end, s in zip(edges[:-1], edges[1:], PROTOCOL, strict=True):
            if s.kind == "steady":
                total += 1
                found += max(iou(start, end, b) for b in steady) >= 0.8
    assert found / total >= 0.93


def test_sprints_out_of_free_riding_are_transients():
    edges = np.cumsum([0.0, *(s.duration_s for s in PROTOCOL)])
    for seed in range(4):
        transients = [b for b in blocks_of(FAST, LATE, seed=seed) if b.kind == "transient"]
        for start, end, s in zip(edges[:-1], edges[1:], PROTOCOL, strict=True):
            if s.name == "sprint":
                assert any(b.start_s <= start + 1 and b.end_s >= end - 1 and b.length_s <= 25 for b in transients)


def test_a_stop_is_idle_and_short_coasting_is_not():
    blocks = blocks_of(FAST, FAST)
    idle = [b for b in blocks if b.kind == "idle"]
    start = sum(s.duration_s for s in PROTOCOL[: [s.name for s in PROTOCOL].index("stop")])
    assert any(abs(b.start_s - start) <= 4 and abs(b.length_s - 60) <= 6 for b in idle)
    assert all(b.length_s >= 12 for b in idle)


@pytest.mark.parametrize("change", [{"gain": 1.15}, {"gain": 0.85}, {"offset_w": 25.0}])
def test_a_bias_of_one_device_moves_no_edge_of_a_hold(change):
    plain = [b for b in blocks_of(FAST, FAST, FAST) if b.kind == "steady"]
    biased = [b for b in blocks_of(FAST, FAST, {**FAST, **change}) if b.kind == "steady"]
    assert len(plain) == len(biased)
    for a, b in zip(plain, biased, strict=True):
        assert abs(a.start_s - b.start_s) <= 2
        assert abs(a.end_s - b.end_s) <= 2


def test_a_recording_that_pauses_leaves_a_gap_between_two_devices_and_none_among_three():
    pause = {**FAST, "pauses_s": [(400, 460)]}
    plan = hold_plan([150, 200, 250, 180])
    gaps = [b for b in blocks_of(FAST, pause, plan=plan) if b.kind == "gap"]
    assert [(b.start_s, b.end_s) for b in gaps] == [(pytest.approx(400, abs=1), pytest.approx(460, abs=1))]
    assert not [b for b in blocks_of(FAST, pause, FAST, plan=plan) if b.kind == "gap"]


def test_trims_follow_the_trade():
    """Common practice, no source: 30 s off each three-minute hold, 20 s off two-minute ones, at least 10 s."""
    assert [entry_trim_s(s) for s in (45, 60, 120, 180, 600)] == [10, 10, 20, 30, 30]


def test_freely_ridden_riding_is_not_called_held():
    """Long free riding around 150 W, surges of 6-20 s and coasting: at most a few chance stretches look held."""
    shares = []
    for seed in range(6):
        blocks = blocks_of(FAST, FAST, seed=seed, plan=[step("free", 1800, 150, "free")])
        shares.append(sum(b.length_s for b in blocks if b.kind == "steady") / 1800)
    assert np.mean(shares) < 0.06
