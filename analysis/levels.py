"""Which held powers repeat one level: the one grouping of block table, level table, ride forecast and trials of several days."""

from __future__ import annotations

import itertools
import math
from collections.abc import Hashable, Sequence

from analysis.blocks import Block

# Holds of one planned level wander by a few percent, and a rider holds 200 W as 194 one day and 207 the next; planned levels
# lie 15 % apart or more. Common practice, no source.
SAME_LEVEL_FRAC = 0.08


def levels_of(blocks: Sequence[Block]) -> tuple[tuple[Block, ...], ...]:
    """Held blocks by level, lowest first, each group from its lowest to its highest; the order of the ride plays no part."""
    held = [b for b in blocks if b.kind == "steady" and b.level_w and b.level_w > 0]
    return tuple(tuple(held[i] for i in group) for group in grouped([b.level_w or 0.0 for b in held]))


def grouped(levels_w: Sequence[float], owners: Sequence[Hashable] | None = None) -> tuple[tuple[int, ...], ...]:
    """Places of the levels by group, lowest first: complete linkage, so that no chain joins what is far apart.

    Neighbours are joined, the closest first, while no two of a group differ by more than `SAME_LEVEL_FRAC`.

    Parameters
    ----------
    levels_w : above zero. [W]
    owners : whose each level is; two of one owner are never joined (a trial's own levels have been told apart already).
    """
    order = sorted(range(len(levels_w)), key=lambda i: levels_w[i])
    groups = [[i] for i in order]
    own = [set() if owners is None else {owners[i]} for i in order]
    spans = [_span(levels_w, a, b, *o) for (a, b), o in zip(itertools.pairwise(groups), itertools.pairwise(own), strict=True)]
    while spans and min(spans) <= math.log1p(SAME_LEVEL_FRAC):
        at = spans.index(min(spans))
        groups[at] += groups.pop(at + 1)
        own[at] |= own.pop(at + 1)
        del spans[at]
        for i in (at - 1, at):
            if 0 <= i < len(spans):
                spans[i] = _span(levels_w, groups[i], groups[i + 1], own[i], own[i + 1])
    return tuple(tuple(group) for group in groups)


def _span(
    levels_w: Sequence[float], lower: Sequence[int], upper: Sequence[int], own: set[Hashable], others: set[Hashable]
) -> float:
    """How far apart the ends of two neighbouring groups lie, as a logarithm; without bound where both have one owner."""
    return math.inf if own & others else math.log(levels_w[upper[-1]] / levels_w[lower[0]])
