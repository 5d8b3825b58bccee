"""What can be said of held blocks beyond their edges: which of them repeat a level, and where a trainer held the power."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.blocks import Block
from analysis.holds import fluctuation
from analysis.levels import levels_of
from analysis.trial import Trial

# A recording in which five-second means of a hold scatter less than this, and seconds less than that, follows its target too
# well to have been ridden freely (3 % and 3.5 %) or merely smoothed (2 % after ten seconds). Common practice, no source.
FIXED_SPREAD_FRAC, FIXED_NOISE_FRAC = 0.008, 0.015
MIN_SECONDS = 30  # fewer seconds of free riding are that calm by chance now and then


def described(trial: Trial, blocks: Sequence[Block]) -> tuple[Block, ...]:
    """The blocks with `level_group` and, per hold, the labels of the recordings that look like fixed power."""
    groups = _level_groups(blocks)
    return tuple(
        replace(b, level_group=groups.get(b.id), fixed_power_in=_fixed_in(trial, b) if b.kind == "steady" else ()) for b in blocks
    )


def _level_groups(blocks: Sequence[Block]) -> dict[str, str]:
    """Block id -> its level as a reviewer would say it: the mean of its group."""
    named = ((group, f"{sum(b.level_w or 0.0 for b in group) / len(group):.0f} W") for group in levels_of(blocks))
    return {b.id: name for group, name in named for b in group}


def _fixed_in(trial: Trial, block: Block) -> tuple[str, ...]:
    """From the middle two thirds of the interior."""
    ends = (block.interior_end_s - block.interior_start_s) / 6  # an edge that runs on by some seconds must not decide
    first = int(block.interior_start_s + ends - trial.start_s)
    last = int(block.interior_end_s - ends - trial.start_s)
    found = []
    for label in trial.labels:
        power = trial.per_second(label)[first:last]
        power = power[np.isfinite(power)]
        spread, trend = fluctuation(power)
        if power.size < MIN_SECONDS or spread is None or trend is None:
            continue
        along = power.mean() * (1 + trend * np.linspace(-0.5, 0.5, power.size))
        if spread < FIXED_SPREAD_FRAC and float(np.std(power - along)) < FIXED_NOISE_FRAC * power.mean():
            found.append(label)
    return tuple(found)
