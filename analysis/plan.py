"""Match the ride as planned to the blocks as ridden: order kept, steps and blocks may be left over on either side.

The plan is the set-up's, or what a recording brought: the steps of a workout, or lap marks pressed by hand.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any

import numpy as np

from analysis.blocks import Block, block_of, with_names
from analysis.consensus import Consensus
from analysis.setup import PlanStep

# Costs of a match: another kind, a level or a length off by a factor e. Leaving a step or a block over costs less than a
# bad match and more than a fair one. Common practice, no source.
OTHER_KIND = 0.8
LEVEL_COST = 4.0
LENGTH_COST = 0.5
SKIP_STEP = 0.9
SKIP_BLOCK = 0.35
# Power as planned is the rider's target on some device; a tenth off is still the same step.
FREE_LEVEL = 0.10
# A hold so far from its step's level was held at another power, or is another step. Common practice, no source.
OFF_TARGET = 0.15
# So many holds tell by how much the whole ride lies off its targets.
ENOUGH_TO_SCALE = 4
# A block out of order is taken for a step only within half its length, more or less.
SAME_LENGTH = 0.2
# Steps that ask something of the rider; what lies between them may be ridden as it comes.
ASKED = ("steady", "transient")
# Without a place in the plan, a lone hold this short in the middle of riding along is riding along that looked held by chance.
# Common practice, no source.
MAX_CHANCE_S = 60
# Laps of a recording are a plan when there are this many, each at least this long, not cut by distance.
MIN_LAPS, MIN_LAP_S = 3, 10.0
DISTANCE_LAPS = frozenset({"distance", "position_start", "position_lap", "position_waypoint", "position_marked"})
# Steps of one level that one hold may stand for.
MAX_JOINED = 6
# Blocks that one planned pattern may stand for: five of the sync pattern and two to spare.
MAX_PARTS = 7


@dataclass(frozen=True, kw_only=True)
class PlanMatch:
    """Blocks with the plan's names where they matched, and what of it was not ridden as planned.

    elsewhere : steps ridden in another order; off_target : in their place, but held at another power; not_ridden : the rest.
    """

    blocks: tuple[Block, ...]
    not_ridden: tuple[PlanStep, ...]
    elsewhere: tuple[PlanStep, ...] = ()
    off_target: tuple[PlanStep, ...] = ()


def match_plan(consensus: Consensus, blocks: Sequence[Block], plan: Sequence[PlanStep]) -> PlanMatch:
    """Align steps and blocks in order at the least total cost (dynamic programme, O(steps x blocks x MAX_JOINED)).

    A hold may stand for several planned steps of one level, for instance at other cadences; it is then cut at the steps'
    share of its length. A hold that is far from its step's level and very like another's is that other one, ridden in
    another order. Blocks that no step fits are named by what they are.
    """
    if not plan:
        return PlanMatch(blocks=tuple(blocks), not_ridden=())
    blocks = _without_chance(consensus, blocks, plan)
    matched = _pairs(plan, blocks)
    ridden = {i for steps in matched.values() for i in steps}
    missed = [i for i, s in enumerate(plan) if i not in ridden and s.kind in ASKED]
    scale = _scale(plan, blocks, matched)
    off = {steps[0]: k for k, steps in matched.items() if len(steps) == 1 and _off(plan[steps[0]], blocks[k], scale)}
    spare = [k for k, b in enumerate(blocks) if k not in matched or k in off.values()]
    elsewhere = _elsewhere(plan, blocks, [*missed, *off], spare, scale)
    matched = {k: steps for k, steps in matched.items() if steps[0] not in elsewhere} | {k: (i,) for i, k in elsewhere.items()}
    out: list[Block] = []
    for k, block in enumerate(blocks):
        out += _renamed(consensus, block, [plan[i] for i in matched.get(k, ())])
    numbered = with_names([replace(b, id=f"B{number:02d}") for number, b in enumerate(out, start=1)])
    still = {i for steps in matched.values() for i in steps}
    return PlanMatch(
        blocks=numbered, not_ridden=tuple(s for i, s in enumerate(plan) if i not in still and s.kind in ASKED),
        elsewhere=tuple(plan[i] for i in sorted(elsewhere)),
        off_target=tuple(plan[i] for i in sorted(off.keys() - elsewhere.keys()) if i in still),
    )  # fmt: skip


def _scale(plan: Sequence[PlanStep], blocks: Sequence[Block], matched: Mapping[int, tuple[int, ...]]) -> float:
    """By how much the whole ride lies above its targets, as a logarithm: whose power a target meant is not known."""
    logs = [_above(plan[steps[0]], blocks[k]) for k, steps in matched.items() if len(steps) == 1]
    known = [x for x in logs if x is not None]
    return float(np.median(known)) if len(known) >= ENOUGH_TO_SCALE else 0.0


def _above(step: PlanStep, block: Block) -> float | None:
    if step.kind != "steady" or block.kind != "steady" or not step.target_w or not block.level_w:
        return None
    return math.log(max(block.level_w, 1.0) / step.target_w)


def _off(step: PlanStep, block: Block, scale: float) -> bool:
    above = _above(step, block)
    return above is not None and abs(above - scale) > OFF_TARGET


def _elsewhere(
    plan: Sequence[PlanStep], blocks: Sequence[Block], wanting: Sequence[int], spare: Sequence[int], scale: float
) -> dict[int, int]:
    """Step -> the spare block that is very like it, the likest pairs first; one block for one step."""
    costs = []
    for i in wanting:
        for k in spare:
            length = LENGTH_COST * abs(math.log(blocks[k].length_s / plan[i].duration_s))
            above = _above(plan[i], blocks[k])
            if plan[i].kind == blocks[k].kind and length < SAME_LENGTH and (above is None or abs(above - scale) < FREE_LEVEL):
                costs.append((length + LEVEL_COST * abs((above or 0.0) - scale), i, k))
    found: dict[int, int] = {}
    for _, i, k in sorted(costs):
        if i not in found and k not in found.values():
            found[i] = k
    return found


@dataclass(frozen=True, kw_only=True)
class Plan:
    """The ride as planned and where that was found: `setup`, `workout` or `laps`, None without a plan."""

    steps: tuple[PlanStep, ...] = ()
    source: str | None = None
    recording: str | None = None


def plan_of(steps: Sequence[PlanStep], facts: Sequence[tuple[str, Mapping[str, Any]]]) -> Plan:
    """The set-up's plan, else the first that a recording brought along (label, facts); a workout goes before laps."""
    if steps:
        return Plan(steps=tuple(steps), source="setup")
    brought = [
        Plan(steps=own, source="workout" if _has_workout(f) else "laps", recording=label)
        for label, f in facts
        if (own := plan_from(f))
    ]
    return min(brought, key=lambda plan: plan.source != "workout", default=Plan())


def _has_workout(facts: Mapping[str, Any]) -> bool:
    return any("low_w" in s or "high_w" in s for s in facts.get("workout", ()) if s.get("duration_s", 0) >= 1)


def plan_from(facts: Mapping[str, Any]) -> tuple[PlanStep, ...]:
    """The plan that a recording brought along: its workout with targets in watts, else its laps; empty where it has neither.

    Facts are a recording's as read from FIT: `workout` with duration_s, low_w, high_w; `laps` with start_s, duration_s, mean_w.
    """
    steps = [s for s in facts.get("workout", ()) if s.get("duration_s", 0) >= 1]
    if _has_workout(facts):
        return tuple(_workout_step(i, s) for i, s in enumerate(steps, start=1))
    laps = [s for s in facts.get("laps", ()) if s.get("duration_s", 0) >= MIN_LAP_S and s.get("trigger") not in DISTANCE_LAPS]
    if len(laps) < MIN_LAPS:
        return ()
    return tuple(_lap_step(i, lap) for i, lap in enumerate(laps, start=1))


def _workout_step(number: int, step: Mapping[str, float]) -> PlanStep:
    bounds = [step[k] for k in ("low_w", "high_w") if k in step]
    if not bounds:
        return PlanStep(name=f"step {number}", duration_s=float(step["duration_s"]), kind="free")
    target = float(np.mean(bounds))
    return PlanStep(name=f"step {number}, {target:.0f} W", duration_s=float(step["duration_s"]), target_w=target)


def _lap_step(number: int, lap: Mapping[str, Any]) -> PlanStep:
    """A lap says how long and at what mean, not whether power was held: its level serves only where a hold lies there."""
    mean = lap.get("mean_w")
    return PlanStep(name=f"lap {number}", duration_s=float(lap["duration_s"]), target_w=mean or None)


def _without_chance(consensus: Consensus, blocks: Sequence[Block], plan: Sequence[PlanStep]) -> tuple[Block, ...]:
    """Short lone holds that no planned step resembles become part of the free riding around them."""
    targets = [s.target_w for s in plan if s.kind == "steady" and s.duration_s < 2 * MAX_CHANCE_S]
    kinds = []
    for i, block in enumerate(blocks):
        around = {b.kind for b in (*blocks[max(i - 1, 0) : i], *blocks[i + 1 : i + 2])}
        chance = block.kind == "steady" and block.length_s < MAX_CHANCE_S and around == {"free"}
        planned = any(t is None or abs(math.log(max(block.level_w or 1.0, 1.0) / max(t, 1.0))) < FREE_LEVEL for t in targets)
        kinds.append("free" if chance and not planned else block.kind)
    out: list[Block] = []
    first_s = consensus.second_s[0]
    for kind, group in groupby(zip(kinds, blocks, strict=True), key=lambda pair: pair[0] if pair[0] == "free" else id(pair[1])):
        members = [b for _, b in group]
        if kind == "free" and len(members) > 1:
            ends = int(members[0].start_s - first_s), int(members[-1].end_s - first_s)
            out.append(block_of(consensus, *ends, kind="free", number=0))
        else:
            out += members
    return tuple(out)


def _pairs(plan: Sequence[PlanStep], blocks: Sequence[Block]) -> dict[int, tuple[int, ...]]:
    """Block index -> indices of the steps it stands for."""
    n, m = len(plan), len(blocks)
    total = np.full((n + 1, m + 1), np.inf)
    came: dict[tuple[int, int], tuple[int, int]] = {}
    total[0, 0] = 0.0
    for i in range(n + 1):
        for j in range(m + 1):
            options = [(total[i - 1, j] + SKIP_STEP, (i - 1, j))] if i else []
            options += [(total[i, j - 1] + SKIP_BLOCK, (i, j - 1))] if j else []
            if i and j:
                joined = range(1, min(MAX_JOINED, i) + 1)
                options += [(total[i - c, j - 1] + _cost(plan[i - c : i], blocks[j - 1]), (i - c, j - 1)) for c in joined]
                parts = range(2, min(MAX_PARTS, j) + 1)
                options += [(total[i - 1, j - c] + _cost_of_parts(plan[i - 1], blocks[j - c : j]), (i - 1, j - c)) for c in parts]
            if options:
                total[i, j], came[i, j] = min(options)
    found, at = {}, (n, m)
    while at != (0, 0):
        before = came[at]
        if before[1] < at[1] and before[0] < at[0]:
            for block in range(before[1], at[1]):
                found[block] = tuple(range(before[0], at[0]))
        at = before
    return found


def _cost(steps: Sequence[PlanStep], block: Block) -> float:
    if block.kind == "gap" or (len(steps) > 1 and not _one_level(steps)):
        return math.inf
    first, planned_s = steps[0], sum(s.duration_s for s in steps)
    cost = 0.0 if first.kind == block.kind else OTHER_KIND
    cost += LENGTH_COST * abs(math.log(block.length_s / planned_s))
    if first.target_w and block.level_w and first.kind == "steady":
        cost += LEVEL_COST * max(abs(math.log(max(block.level_w, 1.0) / first.target_w)) - FREE_LEVEL, 0.0)
    return cost


def _cost_of_parts(step: PlanStep, parts: Sequence[Block]) -> float:
    """A planned pattern of short efforts and rests stands for all of them together."""
    kinds = [b.kind for b in parts]
    if step.kind != "transient" or {kinds[0], kinds[-1]} != {"transient"} or not set(kinds) <= {"transient", "idle", "free"}:
        return math.inf
    return LENGTH_COST * abs(math.log((parts[-1].end_s - parts[0].start_s) / step.duration_s))


def _one_level(steps: Sequence[PlanStep]) -> bool:
    targets = [s.target_w for s in steps]
    return all(s.kind == "steady" and s.target_w == targets[0] is not None for s in steps)


def _renamed(consensus: Consensus, block: Block, steps: Sequence[PlanStep]) -> list[Block]:
    if not steps:
        return [replace(block, name="")]
    if len(steps) == 1:
        return [replace(block, name=steps[0].name)]
    share = np.cumsum([0.0, *(s.duration_s for s in steps)]) / sum(s.duration_s for s in steps)
    edges = np.rint(block.start_s - consensus.second_s[0] + share * block.length_s).astype(int)
    return [
        block_of(consensus, int(a), int(b), kind=block.kind, number=0, name=step.name)
        for a, b, step in zip(edges[:-1], edges[1:], steps, strict=True)
    ]
