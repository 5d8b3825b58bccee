"""Match the ride as planned to the blocks as ridden: order kept, steps and blocks may be left over on either side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

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
# Steps of one level that one hold may stand for.
MAX_JOINED = 6


@dataclass(frozen=True, kw_only=True)
class PlanMatch:
    """Blocks with the plan's names where they matched, and the steps that were not ridden."""

    blocks: tuple[Block, ...]
    not_ridden: tuple[PlanStep, ...]


def match_plan(consensus: Consensus, blocks: Sequence[Block], plan: Sequence[PlanStep]) -> PlanMatch:
    """Align steps and blocks in order at the least total cost (dynamic programme, O(steps x blocks x MAX_JOINED)).

    A hold may stand for several planned steps of one level, for instance at other cadences; it is then cut at the steps'
    share of its length. Blocks that no step fits are named by what they are.
    """
    if not plan:
        return PlanMatch(blocks=tuple(blocks), not_ridden=())
    matched = _pairs(plan, blocks)
    ridden = {i for steps in matched.values() for i in steps}
    out: list[Block] = []
    for k, block in enumerate(blocks):
        out += _renamed(consensus, block, [plan[i] for i in matched.get(k, ())])
    numbered = with_names([replace(b, id=f"B{number:02d}") for number, b in enumerate(out, start=1)])
    missed = tuple(s for i, s in enumerate(plan) if i not in ridden and s.kind in ("steady", "transient"))
    return PlanMatch(blocks=numbered, not_ridden=missed)


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
            if options:
                total[i, j], came[i, j] = min(options)
    found, at = {}, (n, m)
    while at != (0, 0):
        before = came[at]
        if before[1] < at[1] and before[0] < at[0]:
            found[before[1]] = tuple(range(before[0], at[0]))
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
