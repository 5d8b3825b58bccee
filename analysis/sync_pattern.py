"""Short efforts with unequal rests, ridden so that two clocks fit in one way only, recognised in a trace.

The pattern is 10 s hard, 10 s still, 10 s hard, 20 s still, 10 s hard. Values on one-second grids.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from analysis.traces import Floats

# Seconds hard (+1) and still (-1), in order.
PATTERN = np.repeat([1.0, -1.0, 1.0, -1.0, 1.0], [10, 10, 10, 20, 10])
# When its efforts begin, and how far a block's edge may lie off. [s]
BURSTS_S, BURST_APART_S = (0.0, 20.0, 50.0), 4.0
# A trace is the pattern when it follows it this closely; equal intervals of any length reach 0.75 at most, a device that
# smooths over five seconds still 0.85 (tests/analysis/test_aligning_pattern.py).
MIN_LIKENESS = 0.8
# Still means still: mean of the rests over mean of the efforts at most. Coasting flywheels leave some power.
MAX_STILL_FRAC = 0.4
# The least lift of the efforts over the rests, as a share of the trace's own usual level.
MIN_LIFT_FRAC = 0.5
# Two finds nearer than this are one.
APART_S = 30
# Differences of places this near say the same shift. [s]
SAME_SHIFT_S = 4
# Where a pattern has set the shift, peaks of the other signals are sought this near it: a power that comes late,
# and a clock that drifts, included. [s]
PATTERN_REACH_S = 15


def pattern_bursts(starts_s: Sequence[float]) -> frozenset[int]:
    """Which of some short efforts, given by when they begin, are the bursts of a pattern: 0, 20 and 50 s after its first."""
    found: set[int] = set()
    for first in starts_s:
        burst = [next((j for j, s in enumerate(starts_s) if abs(s - first - after) <= BURST_APART_S), None) for after in BURSTS_S]
        found |= set(burst) if None not in burst else set()
    return frozenset(found)


def find_patterns(values: Floats) -> tuple[int, ...]:
    """Indices at which the pattern begins, ascending; empty where it was not ridden."""
    size = PATTERN.size
    if values.size < size:
        return ()
    there = np.isfinite(values)
    filled = np.where(there, values, 0.0)
    ones = np.ones(size)
    product = np.correlate(filled, PATTERN, mode="valid")
    total, squares = np.convolve(filled, ones, mode="valid"), np.convolve(filled**2, ones, mode="valid")
    known = np.convolve(there, ones, mode="valid")
    pattern_sum, pattern_spread = PATTERN.sum(), size - PATTERN.sum() ** 2 / size
    spread = squares - total**2 / size
    usable = (spread > 1e-9 * max(float(squares.max()), 1e-12)) & (known >= 0.9 * size)
    top = product - total * pattern_sum / size
    likeness = np.divide(top, np.sqrt(np.where(usable, spread, 1.0) * pattern_spread), out=np.zeros(top.size), where=usable)
    hard, still = (total + product) / (PATTERN > 0).sum() / 2, (total - product) / (PATTERN < 0).sum() / 2
    usual = float(np.nanmedian(values[there & (values > 0)])) if (there & (filled > 0)).any() else np.inf
    good = (likeness >= MIN_LIKENESS) & (still <= MAX_STILL_FRAC * hard) & (hard - still >= MIN_LIFT_FRAC * usual)
    found: list[int] = []
    for k in sorted(np.flatnonzero(good), key=lambda k: -likeness[k]):
        if all(abs(k - f) >= APART_S for f in found):
            found.append(int(k))
    return tuple(sorted(found))


def pattern_lag(device: tuple[int, ...], reference: tuple[int, ...]) -> int | None:
    """Whole lag on which most places agree; None without a pattern in both, or where two lags do equally well."""
    lags = np.array([r - d for d, r in itertools.product(device, reference)])
    if not lags.size:
        return None
    support = np.array([(np.abs(lags - lag) <= SAME_SHIFT_S).sum() for lag in lags])
    best = lags[support == support.max()]
    return round(float(np.median(best))) if np.ptp(best) <= 2 * SAME_SHIFT_S else None
