"""Per-second traces -> as many points as a picture can show; nothing here feeds a number that is reported.

Reads one value per second (NaN where there is none) and gives bins with mean, lowest and highest second, so that a
peak is never drawn away; and the running difference for the strip. Times in seconds, power in watts, difference in percent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# A point every one to two pixels of a page-wide chart.
MAX_POINTS = 480
NICE_STEPS_S = (1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600)

RUNNING_S = 30  # wide enough to calm pedal-stroke noise, short enough to show a surge; a choice
MIN_COVER_FRAC = 0.5  # a running mean over less than half its window would be a picture of the gap
# Below this a percentage says nothing: 2 W, a common resolution error, are already 4 % of it. A choice.
MIN_REFERENCE_W = 50.0


@dataclass(frozen=True, kw_only=True)
class Thinned:
    """Bins of `step_s`; `first_s` is the middle of the first one. Arrays of equal length, NaN where a bin is empty."""

    first_s: float
    step_s: float
    mean: Array
    lowest: Array
    highest: Array


def step_for(span_s: float) -> int:
    """Bin width for a window of `span_s`: the smallest round one that stays within `MAX_POINTS`. [s]"""
    for step_s in NICE_STEPS_S:
        if span_s / step_s <= MAX_POINTS:
            return step_s
    return math.ceil(span_s / MAX_POINTS / 600) * 600


def thin(values: Array, first_second_s: float, view: tuple[float, float]) -> Thinned:
    """Bin the seconds of `values` that lie in `view`; bins start at whole multiples of their width, so a pan does not flicker."""
    step_s = step_for(view[1] - view[0])
    begin_s = math.floor(view[0] / step_s) * step_s
    bins = max(1, math.ceil((view[1] - begin_s) / step_s))
    lead = round(begin_s - first_second_s)
    window = np.full(bins * step_s, np.nan)
    source = values[max(lead, 0) : max(lead + window.size, 0)]
    window[max(-lead, 0) : max(-lead, 0) + source.size] = source
    table = window.reshape(bins, step_s)
    there = np.isfinite(table)
    count = there.sum(axis=1)
    empty = count == 0
    mean = np.where(there, table, 0.0).sum(axis=1) / np.maximum(count, 1)
    return Thinned(
        first_s=begin_s + step_s / 2,
        step_s=float(step_s),
        mean=np.where(empty, np.nan, mean),
        lowest=np.where(empty, np.nan, np.where(there, table, np.inf).min(axis=1)),
        highest=np.where(empty, np.nan, np.where(there, table, -np.inf).max(axis=1)),
    )


def running_difference_pct(device_w: Array, reference_w: Array) -> Array:
    """Device minus reference over a centred window of `RUNNING_S`, in % of the reference's mean there (ratio of means).

    Only seconds that both cover count; NaN where they cover less than half the window or the reference is too low.
    """
    both = np.isfinite(device_w) & np.isfinite(reference_w)
    count = _running_sum(both.astype(float))
    difference = _running_sum(np.where(both, device_w - reference_w, 0.0))
    reference = _running_sum(np.where(both, reference_w, 0.0))
    sound = (count >= MIN_COVER_FRAC * RUNNING_S) & (reference >= MIN_REFERENCE_W * count) & (count > 0) & both
    return np.where(sound, 100.0 * difference / np.where(sound, reference, 1.0), np.nan)


def _running_sum(values: Array) -> Array:
    total = np.concatenate([[0.0], np.cumsum(values)])
    n = values.size
    left = np.clip(np.arange(n) - RUNNING_S // 2, 0, n)
    right = np.clip(np.arange(n) + (RUNNING_S - RUNNING_S // 2), 0, n)
    return total[right] - total[left]
