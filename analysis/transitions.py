"""Measure one step in a sampled signal in the terms of IEEE Std 181: state levels, reference instants, duration, overshoot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.traces import Floats

# Samples at each end whose median is the state level there.
STATE_SAMPLES = 5


@dataclass(frozen=True, kw_only=True)
class Transition:
    """A step from one state level to another; instants in samples from the first, duration between 10 and 90 %."""

    low_state: float
    high_state: float
    at_10: float
    at_50: float
    at_90: float
    overshoot_pct: float

    @property
    def duration(self) -> float:
        """10-90 % transition duration, in samples."""
        return self.at_90 - self.at_10


def rising_transition(value: Floats) -> Transition | None:
    """The rise in `value`, shape (n,), n >= 10, no NaN; None where it does not rise.

    State levels are medians of five samples at each end, instants are interpolated between samples, each the last crossing
    before the level above it is first reached. At 1 Hz an instant step reads 0.8 s: nothing near 1 s is resolved.
    """
    if value.size < 2 * STATE_SAMPLES:
        return None
    low, high = float(np.median(value[:STATE_SAMPLES])), float(np.median(value[-STATE_SAMPLES:]))
    amplitude = high - low
    if not amplitude > 0:
        return None
    at_90 = _first_crossing(value, low + 0.9 * amplitude)
    if at_90 is None:
        return None
    at_50 = _last_crossing_before(value, low + 0.5 * amplitude, at_90)
    at_10 = None if at_50 is None else _last_crossing_before(value, low + 0.1 * amplitude, at_50)
    if at_10 is None or at_50 is None:
        return None
    return Transition(
        low_state=low, high_state=high, at_10=at_10, at_50=at_50, at_90=at_90,
        overshoot_pct=100 * max(float(value[int(at_90) :].max()) - high, 0.0) / amplitude,
    )  # fmt: skip


def _crossings(value: Floats, level: float) -> Floats:
    i = np.flatnonzero((value[:-1] < level) & (value[1:] >= level))
    return i + (level - value[i]) / (value[i + 1] - value[i])


def _first_crossing(value: Floats, level: float) -> float | None:
    found = _crossings(value, level)
    return float(found[0]) if found.size else None


def _last_crossing_before(value: Floats, level: float, limit: float) -> float | None:
    found = _crossings(value, level)
    found = found[found <= limit]
    return float(found[-1]) if found.size else None
