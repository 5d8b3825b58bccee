"""Held blocks that repeat one level: the one grouping that block table, level table and repeats all speak of."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.cluster.hierarchy import fcluster, linkage

from analysis.blocks import Block

# Holds of one planned level wander by a few percent; planned levels lie 15 % apart or more. Common practice, no source.
SAME_LEVEL_FRAC = 0.08


def levels_of(blocks: Sequence[Block]) -> tuple[tuple[Block, ...], ...]:
    """Held blocks by level, lowest first, each group from its lowest to its highest.

    Complete linkage: no two of one group differ by more than `SAME_LEVEL_FRAC`, in whatever order they were ridden.
    """
    held = sorted((b for b in blocks if b.kind == "steady" and b.level_w and b.level_w > 0), key=lambda b: b.level_w or 0.0)
    if len(held) < 2:
        return tuple((b,) for b in held)
    level = np.array([b.level_w for b in held])
    group = fcluster(linkage(np.log(level)[:, None], "complete"), np.log1p(SAME_LEVEL_FRAC), "distance")
    found: dict[int, list[Block]] = {}
    for block, number in zip(held, group.tolist(), strict=True):
        found.setdefault(number, []).append(block)
    return tuple(tuple(own) for own in found.values())
