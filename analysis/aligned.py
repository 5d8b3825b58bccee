"""Changes of power laid over each other: every step and sprint moved so that the reference passes half its way at zero.

Seconds from there; shares of the reference's own step, so that large and small changes lie on one scale. For pictures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.blocks import Block
from analysis.response import MIN_CHANGE_W, find_events
from analysis.traces import Floats
from analysis.trial import Trial

# Room around a change, and the steps of the grid on which means are taken. [s]
BEFORE_S, AFTER_S, STEP_S = 6.0, 8.0, 0.5
# Seconds at either end of a window whose median is the level there; of a surge, whose end falls back, this much of its window
# lies below its level.
LEVEL_S, SURGE_QUANTILE = 5, 0.8
# Where the reference itself strays further from the two levels than this, another change lies in the window. A choice.
STRAYS_FRAC = 0.4
# A mean over fewer changes than this is the picture of one of them.
MIN_FOR_MEAN = 3


@dataclass(frozen=True, kw_only=True)
class Laid:
    """One recording over all changes of one direction.

    at_s, share_frac : (changes, seconds) middles of its whole seconds and its power, 0 at the reference's level before the
    change and 1 at its level after. grid_s, mean_frac : (points,) mean over the changes; empty under `MIN_FOR_MEAN`.
    """

    label: str
    rises: bool
    at_s: Floats
    share_frac: Floats
    grid_s: Floats
    mean_frac: Floats


@dataclass(frozen=True, kw_only=True)
class _Placed:
    """Where one change lies among the trial's seconds, and the reference's levels before and after. [s, W]"""

    first: int
    last: int
    half_s: float
    before_w: float
    after_w: float


def laid_over(trial: Trial, blocks: Sequence[Block], labels: Sequence[str]) -> tuple[Laid, ...]:
    """Rises, then falls, of every label given; nothing for a direction that the ride lacks.

    Raises
    ------
    OutOfRange
        A label that the trial does not have.
    """
    reference = trial.per_second(trial.reference)
    events = find_events(reference, trial.start_s, blocks)
    placed = [p for e in events if (p := _placed(reference, e.first, e.last)) is not None]
    ways = [[p for p in placed if (p.after_w > p.before_w) == rises] for rises in (True, False)]
    both = zip((True, False), ways, strict=True)
    return tuple(_laid(trial, label, rises, own) for rises, own in both if own for label in labels)


def _placed(reference_w: Floats, first: int, last: int) -> _Placed | None:
    """A step from level to level, or the way up into a surge that ends within the window; None where it is neither."""
    window = reference_w[first:last]
    before, after = float(np.median(window[:LEVEL_S])), float(np.median(window[-LEVEL_S:]))
    if abs(after - before) < MIN_CHANGE_W:
        after = float(np.quantile(window, SURGE_QUANTILE))
    if abs(after - before) < MIN_CHANGE_W:
        return None
    share = (window - before) / (after - before)
    if share.min() < -STRAYS_FRAC or share.max() > 1 + STRAYS_FRAC:
        return None
    up = np.flatnonzero((share[:-1] < 0.5) & (share[1:] >= 0.5))
    if not up.size:
        return None
    half = up[0] + (0.5 - share[up[0]]) / (share[up[0] + 1] - share[up[0]])
    return _Placed(first=first, last=last, half_s=first + float(half), before_w=before, after_w=after)


def _laid(trial: Trial, label: str, rises: bool, placed: Sequence[_Placed]) -> Laid:
    power = trial.per_second(label)
    width = min(p.last - p.first for p in placed)
    at = np.array([np.arange(p.first, p.first + width) - p.half_s for p in placed])
    share = np.array([(power[p.first : p.first + width] - p.before_w) / (p.after_w - p.before_w) for p in placed])
    grid = np.arange(-BEFORE_S, AFTER_S + STEP_S / 2, STEP_S)
    on_grid = np.array([np.interp(grid, x, y, left=np.nan, right=np.nan) for x, y in zip(at, share, strict=True)])
    enough = np.isfinite(on_grid).sum(axis=0) >= MIN_FOR_MEAN
    mean = np.nanmean(on_grid[:, enough], axis=0)
    return Laid(label=label, rises=rises, at_s=at, share_frac=share, grid_s=grid[enough], mean_frac=mean)
