"""Samples -> as many points as a picture can show; nothing here feeds a number that is reported.

Gives the samples themselves where they fit, else bins with mean, lowest and highest sample, so that a peak is never
drawn away; moving means, and the running difference for the strips. Times in seconds, power in watts, difference in percent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.traces import MAX_HOLD_INTERVALS, Steps

Array = NDArray[np.float64]

# A point every one to two pixels of a page-wide chart.
MAX_POINTS = 480
NICE_STEPS_S = (1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600)

# Width of a difference's moving mean by the span in view, where none is asked for: over a ride it calms pedal strokes and
# still shows a surge, close up it must not drown a sprint. A choice. [s]
RUNNING_S = 30
CLOSER_S = ((90.0, 1), (600.0, 10))
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


def running_for(span_s: float) -> int:
    """Width of the moving mean of a difference for a window of `span_s`. [s]"""
    return next((width_s for up_to_s, width_s in CLOSER_S if span_s <= up_to_s), RUNNING_S)


def thin(time_s: Array, values: Array, view: tuple[float, float], step_s: int) -> Thinned:
    """Bin the samples that lie in `view`; bins start at whole multiples of their width: panning does not flicker."""
    begin_s = math.floor(view[0] / step_s) * step_s
    bins = max(1, math.ceil((view[1] - begin_s) / step_s))
    first, last = np.searchsorted(time_s, (begin_s, begin_s + bins * step_s))
    at, value = np.asarray(time_s[first:last]), np.asarray(values[first:last])
    there = np.isfinite(value)
    which = ((at[there] - begin_s) // step_s).astype(int)
    count = np.bincount(which, minlength=bins)
    total = np.bincount(which, weights=value[there], minlength=bins)
    lowest, highest = np.full(bins, np.inf), np.full(bins, -np.inf)
    np.minimum.at(lowest, which, value[there])
    np.maximum.at(highest, which, value[there])
    empty = count == 0
    return Thinned(
        first_s=begin_s + step_s / 2,
        step_s=float(step_s),
        mean=np.where(empty, np.nan, total / np.maximum(count, 1)),
        lowest=np.where(empty, np.nan, lowest),
        highest=np.where(empty, np.nan, highest),
    )


def samples_in(time_s: Array, values: Array, view: tuple[float, float], *, interval_s: float) -> tuple[Array, Array]:
    """Times and values as recorded, to one sample beyond `view`; NaN between samples too far apart to be joined."""
    first = max(int(np.searchsorted(time_s, view[0])) - 1, 0)
    last = int(np.searchsorted(time_s, view[1])) + 1
    at, value = np.asarray(time_s[first:last], float), np.asarray(values[first:last], float)
    breaks = np.flatnonzero(np.diff(at) > MAX_HOLD_INTERVALS * interval_s) + 1
    return np.insert(at, breaks, (at[breaks - 1] + at[breaks]) / 2), np.insert(value, breaks, np.nan)


def extremes(time_s: Array, values: Array, step_s: int) -> tuple[Array, Array]:
    """Of each bin of `step_s` the lowest and the highest value where they stand, and whether there is a gap (NaN).

    What is left looks on the screen like all of it: every peak and every gap at most a bin off. O(n log n).
    """
    which = np.floor_divide(time_s, step_s).astype(np.int64)
    there = np.flatnonzero(np.isfinite(values))
    order = there[np.lexsort((values[there], which[there]))]
    first = np.flatnonzero(np.diff(which[order], prepend=-(2**62)))
    last = np.append(first[1:], order.size) - 1 if order.size else first
    gap = np.flatnonzero(~np.isfinite(values))
    gap = gap[np.flatnonzero(np.diff(which[gap], prepend=-(2**62)))]
    kept = np.unique(np.concatenate((order[first], order[last], gap)))
    return time_s[kept], values[kept]


def moving_mean(steps: Steps, time_s: Array, values: Array, width_s: float) -> Array:
    """Time-weighted mean of `width_s` around each stamp; NaN where nothing was recorded, so that a gap stays a gap."""
    mean = steps.means(time_s - width_s / 2, time_s + width_s / 2)
    return np.where(np.isfinite(values), mean, np.nan)


def running_difference(device_w: Array, reference_w: Array, width_s: int = RUNNING_S) -> tuple[Array, Array]:
    """Device minus reference and the reference itself, both as means over a centred window of `width_s`. [W, W]

    Only seconds that both cover count; NaN where they cover less than half the window.
    """
    both = np.isfinite(device_w) & np.isfinite(reference_w)
    count = _running_sum(both.astype(float), width_s)
    sound = (count >= MIN_COVER_FRAC * width_s) & (count > 0) & both
    seconds = np.where(sound, count, np.nan)
    difference = _running_sum(np.where(both, device_w - reference_w, 0.0), width_s)
    return difference / seconds, _running_sum(np.where(both, reference_w, 0.0), width_s) / seconds


def in_percent(difference_w: Array, reference_w: Array) -> Array:
    """A difference in % of the reference; NaN where the reference is too low for a percentage to say anything."""
    sound = reference_w >= MIN_REFERENCE_W
    return np.where(sound, 100.0 * difference_w / np.where(sound, reference_w, 1.0), np.nan)


def _running_sum(values: Array, width_s: int) -> Array:
    total = np.concatenate([[0.0], np.cumsum(values)])
    n = values.size
    left = np.clip(np.arange(n) - width_s // 2, 0, n)
    right = np.clip(np.arange(n) + (width_s - width_s // 2), 0, n)
    return total[right] - total[left]
