"""Protocols whose edges are known, ridden and recorded, and how found blocks are scored against them.

The truth of an edge is the instant at which the planned power is half way between two levels (half-height, after IEEE
Std 181): the rider takes `ENTRY_S` to a new level, so the edge lies half of that after the planned second. Steps of one
target that follow each other (other cadences) are one hold. A still part of the sync pattern is shorter than a rest, so it
may be called idle or belong to the pattern; coasting in free riding of twelve seconds on end may be called a rest. Every
other second has one right answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from analysis.blocks import Block, find_blocks
from analysis.consensus import consensus_of
from analysis.runs import runs
from made import trial_of
from sample_data.ride_model import ENTRY_S, Step, Truth, record, ride, sync_pattern
from sample_data.signals import TRUTH_HZ, noise

FAST, LATE = {"noise_frac": 0.01}, {"noise_frac": 0.01, "gain": 1.05, "lag_s": 1.0, "smoothing_s": 3.0}
DIRECT = {"noise_frac": 0.005, "gain": 0.97}


def step(name: str, duration_s: float, target_w: float, kind: str = "steady", cadence_rpm: float = 88.0) -> Step:
    return Step(name=name, duration_s=duration_s, target_w=target_w, kind=kind, cadence_rpm=cadence_rpm)


def free(duration_s: float, target_w: float = 130.0) -> Step:
    return step("easy", duration_s, target_w, "free")


def holds(levels_w: Sequence[float], hold_s: float, *between: Step) -> list[Step]:
    return [s for w in levels_w for s in (step("hold", hold_s, w), *between)]


STOP, SPRINT = step("stop", 60, 0, "idle"), step("sprint", 10, 700, "transient", 110.0)
HARD = [
    free(240), *sync_pattern(), free(60, 110), *holds((120, 160, 200, 220, 240, 280), 180, free(60, 110)),
    *holds((200, 220), 180), STOP, *holds((150, 350, 450, 150, 350, 450), 45), free(300, 140),
    *(s for _ in range(4) for s in (SPRINT, free(120, 110))),
]  # fmt: skip
PROTOCOLS: dict[str, list[Step]] = {
    "hard": HARD,
    "stairs 10 %": [free(120, 100), *holds((180, 198, 218, 240, 264, 290), 180), free(120, 100),
                    *holds((290, 264, 240, 218, 198, 180), 180), free(120, 100)],
    "stairs 5 %": [free(120, 100), *holds((180, 190, 200, 220, 240, 252, 270, 285), 120), free(120, 100),
                   *holds((285, 270, 250, 235, 215, 200, 190, 180), 60), free(120, 100)],
    "short holds": [free(180, 110), *holds((200, 260, 320, 230, 290), 30, free(60, 100)), STOP,
                    *holds((180, 240, 300, 210, 270), 45, free(60, 100)), free(120)],
    "over and under": [free(180), *holds((150, 350, 450) * 3, 60), free(120), *holds((150, 350, 450) * 3, 45), STOP,
                       *holds((210, 250) * 3, 50), free(180)],
    "cadences": [free(120), *(step("hold", 120, 200, cadence_rpm=c) for c in (60, 75, 90, 105)), free(120, 100),
                 *(step("hold", 90, 240, cadence_rpm=c) for c in (105, 60, 95)), free(120, 100)],
    "sprints and stops": [free(300, 120), *(s for d in (5, 8, 12, 15) for s in (replace(SPRINT, duration_s=d), free(150, 120))),
                          step("zeroing", 40, 0, "idle"), free(120, 120), *holds((180, 230), 240, free(90, 120)),
                          step("zeroing", 90, 0, "idle"), *holds((180,), 240), free(90)],
}  # fmt: skip


def fixed_power(truth: Truth, plan: Sequence[Step]) -> Truth:
    """The same ride with the trainer holding the power: an eighth of the rider's noise is left once the level is reached."""
    power, at = truth.power_w.copy(), truth.step
    for i, s in enumerate(plan):
        if s.kind == "steady":
            inside = np.flatnonzero(at == i)[int(ENTRY_S["steady"] * TRUTH_HZ) :]
            power[inside] = s.target_w + (power[inside] - s.target_w) / 8
    return replace(truth, power_w=power)


def slow_entries(truth: Truth, plan: Sequence[Step], entry_s: float) -> Truth:
    """The same ride, every hold reached on a straight line over `entry_s`; half-height moves to `entry_s` / 2."""
    power, at = truth.power_w.copy(), truth.step
    for i, s in enumerate(plan):
        inside = np.flatnonzero(at == i)
        if s.kind != "steady" or i == 0:
            continue
        level = float(np.median(power[inside[0] - TRUTH_HZ : inside[0]]))
        second = (np.arange(inside.size) + 1) / TRUTH_HZ
        quick, slow = 0.5 - 0.5 * np.cos(np.pi * np.clip(second / ENTRY_S["steady"], 0, 1)), np.clip(second / entry_s, 0, 1)
        as_ridden = np.maximum(level + (s.target_w - level) * quick, 10.0)
        power[inside] *= (level + (s.target_w - level) * slow) / as_ridden
    return replace(truth, power_w=power)


def outdoor(duration_s: int, seed: int) -> Truth:
    """Hills, corners and wind: power wanders by a third about a slowly moving level and falls to zero now and then."""
    plan = [step("out", duration_s, 180, "free")]
    truth, rng = ride(plan, seed=seed), np.random.default_rng(seed + 7000)
    n = truth.power_w.size
    quick, hills = noise(rng, n, 8.0), noise(rng, n, 45.0)
    power = 180 * np.exp(0.30 * quick + 0.35 * hills - 0.1)
    return replace(truth, power_w=np.where(quick < -1.7, 0.0, power))


@dataclass(frozen=True, kw_only=True)
class Expected:
    """Holds as [start, end) and, per second, the kinds that are right."""

    holds: list[tuple[float, float]]
    kinds: list[frozenset[str]]


def expected_of(plan: Sequence[Step], truth: Truth, *, entry_s: float = ENTRY_S["steady"]) -> Expected:
    edges = np.cumsum([0.0, *(s.duration_s for s in plan)])
    entry = [entry_s if s.kind == "steady" else ENTRY_S[s.kind] for s in plan]
    edges[1:-1] += np.array(entry[1:]) / 2
    found: list[tuple[float, float]] = []
    kinds: list[frozenset[str]] = []
    for i, (s, (a, b)) in enumerate(zip(plan, pairwise(edges), strict=True)):
        right = {s.kind} | ({"transient"} if s.kind == "idle" and s.duration_s < 25 else set())
        kinds += [frozenset(right)] * (round(b) - round(a))
        if s.kind == "steady":
            again = i > 0 and plan[i - 1].kind == "steady" and plan[i - 1].target_w == s.target_w
            found = [*found[:-1], (found[-1][0], float(b))] if again else [*found, (float(a), float(b))]
    still = np.add.reduceat(truth.power_w, np.arange(0, truth.power_w.size, TRUTH_HZ)) < 15.0 * TRUTH_HZ
    for first, last in runs(still):
        if last - first >= 12:  # two coasts on end are a rest
            kinds[first:last] = [k | {"idle"} for k in kinds[first:last]]
    return Expected(holds=found, kinds=kinds)


@dataclass(frozen=True, kw_only=True)
class Score:
    """holds and hits (IoU >= 0.85) among holds of 45 s and more; seconds right, of all; held seconds lying elsewhere."""

    holds: int
    hits: int
    seconds: int
    right: int
    held_s: int
    lost_s: int
    misses: tuple[tuple[float, float, float], ...]

    def __add__(self, other: Score) -> Score:
        return Score(**{k: v + getattr(other, k) for k, v in vars(self).items()})


def score(blocks: Sequence[Block], expected: Expected, *, min_hold_s: float = 45.0, iou: float = 0.85) -> Score:
    """Blocks begin at 0 s; seconds after the last block or the truth are left out."""
    kinds = np.concatenate([[b.kind] * int(b.end_s - b.start_s) for b in blocks])
    n = min(kinds.size, len(expected.kinds))
    right = sum(kinds[t] in expected.kinds[t] for t in range(n))
    held = np.array(["steady" in k for k in expected.kinds[:n]])
    # steady time that lies in free riding, sprints or stops; a way into a hold (step) is no sprint
    lost = int((held & np.isin(kinds[:n], ["free", "idle", "transient"])).sum())
    long = [h for h in expected.holds if h[1] - h[0] >= min_hold_s - 0.5 and h[1] <= n + 5]
    best = [max((overlap(h, b) for b in blocks if b.kind == "steady"), default=0.0) for h in long]
    return Score(holds=len(long), hits=sum(b >= iou for b in best), seconds=n, right=right, held_s=int(held.sum()),
                 lost_s=lost, misses=tuple((*h, b) for h, b in zip(long, best, strict=True) if b < iou))  # fmt: skip


def overlap(hold: tuple[float, float], block: Block) -> float:
    """Intersection over union of a hold and a block."""
    common = max(0.0, min(hold[1], block.end_s) - max(hold[0], block.start_s))
    return common / (max(hold[1], block.end_s) - min(hold[0], block.start_s))


def recorded(truth: Truth, *devices: dict, seed: int = 50):
    """The consensus of a trial in which these devices recorded the ride."""
    return consensus_of(trial_of([record(truth, seed=seed + i, **d) for i, d in enumerate(devices)]))


def found(truth: Truth, *devices: dict) -> tuple[Block, ...]:
    return find_blocks(recorded(truth, *devices))
