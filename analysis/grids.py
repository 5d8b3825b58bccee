"""A recording's channel on whole seconds of its own clock, for matching only: deltas never rest on a grid."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.reading.recording import Recording
from analysis.refining import prepared
from analysis.traces import Floats

# A recorder slower than this is joined by straight lines between its samples, up to so many of its intervals.
SLOW_INTERVAL_S = 1.5
MAX_JOIN_INTERVALS = 2.5
# "Smart" recorders write when something changes, at up to five times their usual step; shorter holes are joined as well.
MIN_JOIN_S = 12.0
# Stamps that wander within the second by more than this are joined by straight lines as well.
MAX_PHASE_SPREAD_S = 0.1


@dataclass(frozen=True, kw_only=True)
class Grid:
    """One channel on whole seconds: `value[k]` was read at `start_s + k`."""

    start_s: float
    value: Floats

    @cached_property
    def prepared(self) -> Floats:
        """What of it carries timing; made once, however many others it is matched with."""
        return prepared(self.value)


def gridded(recording: Recording, channel: str) -> Grid:
    """A channel on a one-second grid: mean of each second's readings, in the phase of the recording's own stamps.

    Slower recordings are joined by straight lines over up to two of their intervals; holes stay NaN.
    """
    time, value = recording.samples["time_s"].to_numpy(), recording.samples[channel].to_numpy(float)
    there = np.isfinite(value)
    if recording.interval_s > SLOW_INTERVAL_S and there.sum() > 1:
        return _joined(time, value, there, max(MAX_JOIN_INTERVALS * recording.interval_s, MIN_JOIN_S))
    since = time - time[0]
    cell = np.floor(since + 1e-6).astype(np.int64)
    n = int(cell[-1]) + 1
    count = np.bincount(cell[there], minlength=n)
    total = np.bincount(cell[there], weights=value[there], minlength=n)
    if not there.any():
        return Grid(start_s=float(time[0]), value=np.full(n, np.nan))
    phase = np.bincount(cell[there], weights=(since - cell)[there], minlength=n)[count > 0] / count[count > 0]
    if phase.std() > MAX_PHASE_SPREAD_S:
        return _joined(time, value, there, MAX_JOIN_INTERVALS * max(recording.interval_s, 1.0))
    grid = np.divide(total, count, out=np.full(n, np.nan), where=count > 0)
    return Grid(start_s=float(time[0]) + float(phase.mean()), value=grid)


def _joined(time: Floats, value: Floats, there: np.ndarray, longest_s: float) -> Grid:
    at = time[0] + np.arange(int(time[-1] - time[0]) + 1)
    known = time[there]
    after = np.clip(np.searchsorted(known, at), 1, known.size - 1)
    near = known[after] - known[after - 1] <= longest_s
    return Grid(start_s=float(time[0]), value=np.where(near, np.interp(at, known, value[there]), np.nan))
