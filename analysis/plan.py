"""Match the ride as planned to the blocks as ridden: order kept, steps and blocks may be left over on either side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.blocks import Block
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


@dataclass(frozen=True, kw_only=True)
class PlanMatch:
    """Blocks with the plan's names where they matched, and the steps that were not ridden."""

    blocks: tuple[Block, ...]
    not_ridden: tuple[PlanStep, ...]


def match_plan(blocks: Sequence[Block], plan: Sequence[PlanStep]) -> PlanMatch:
    """Align steps and blocks in order at the least total cost (dynamic programme, O(steps x blocks))."""
    if not plan:
        return PlanMatch(blocks=tuple(blocks), not_ridden=())
    cost = np.array([[_cost(step, block) for block in blocks] for step in plan])
    n, m = cost.shape
    total = np.zeros((n + 1, m + 1))
    total[:, 0] = SKIP_STEP * np.arange(n + 1)
    total[0, :] = SKIP_BLOCK * np.arange(m + 1)
    for i in range(1, n + 1):
        for j in range(1, m + 1):
            total[i, j] = min(total[i - 1, j - 1] + cost[i - 1, j - 1], total[i - 1, j] + SKIP_STEP, total[i, j - 1] + SKIP_BLOCK)
    names, ridden, i, j = {}, set(), n, m
    while i and j:
        if total[i, j] == total[i - 1, j - 1] + cost[i - 1, j - 1]:
            i, j = i - 1, j - 1
            names[j] = plan[i].name
            ridden.add(i)
        elif total[i, j] == total[i - 1, j] + SKIP_STEP:
            i -= 1
        else:
            j -= 1
    renamed = tuple(replace(b, name=names.get(k, b.name)) for k, b in enumerate(blocks))
    return PlanMatch(blocks=renamed, not_ridden=tuple(s for k, s in enumerate(plan) if k not in ridden and s.kind != "idle"))


def _cost(step: PlanStep, block: Block) -> float:
    if block.kind == "gap":
        return math.inf
    cost = 0.0 if step.kind == block.kind else OTHER_KIND
    cost += LENGTH_COST * abs(math.log(block.length_s / step.duration_s))
    if step.target_w and block.level_w and step.kind == "steady":
        cost += LEVEL_COST * max(abs(math.log(max(block.level_w, 1.0) / step.target_w)) - FREE_LEVEL, 0.0)
    return cost
