"""What a recording did while the others show that power was being made: drop-outs, held values, the same sensor twice."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.consensus import IDLE_W, Consensus
from analysis.runs import runs
from analysis.traces import Floats
from analysis.trial import Trial

# A value repeated for this long while the others move is no reading. Common practice, no source.
MIN_STUCK_S = 10
OTHERS_MOVE_W = 3.0
# Shorter holes are ordinary radio loss.
MIN_DROPOUT_S = 3
# Two recordings with this share of identical moving seconds carry one sensor's values.
SAME_SOURCE_FRAC = 0.9


@dataclass(frozen=True, kw_only=True)
class Lost:
    """Seconds without a true reading: in all, in how many runs, and where the first begins. [s on the trial's clock]"""

    seconds: int
    runs: int
    first_s: float | None


def dropouts(trial: Trial, label: str, consensus: Consensus) -> Lost:
    """Seconds in which the device has no power while the others say that power was made, within its own recording."""
    own = trial.per_second(label)
    there = np.isfinite(own)
    if not there.any():
        return Lost(seconds=0, runs=0, first_s=None)
    within = np.zeros(own.size, bool)
    within[int(np.argmax(there)) : own.size - int(np.argmax(there[::-1]))] = True
    return _lost(within & ~there & (consensus.power_w > IDLE_W), MIN_DROPOUT_S, trial.start_s)


def stuck(trial: Trial, label: str) -> Lost:
    """Seconds in which the device repeats one non-zero value while the other recordings move."""
    own = trial.per_second(label)
    others = np.stack([trial.per_second(o) for o in trial.labels if o != label])
    same = np.concatenate(([False], np.abs(np.diff(own)) < 1e-9)) & (own > IDLE_W)
    moving = np.concatenate(([False], (np.abs(np.diff(others, axis=1)) > OTHERS_MOVE_W).any(axis=0)))
    found = np.zeros(own.size, bool)
    for first, last in runs(same):
        if last - first >= MIN_STUCK_S and moving[first:last].mean() > 0.3:
            found[first:last] = True
    return _lost(found, MIN_STUCK_S, trial.start_s)


def same_source(trial: Trial) -> tuple[tuple[str, str], ...]:
    """Pairs of recordings whose power is identical in nearly every second in which it moves."""
    pairs = []
    for i, a in enumerate(trial.recordings):
        for b in trial.recordings[i + 1 :]:
            if _identical_frac(a.time_s, a.channels["power_w"], b.time_s, b.channels["power_w"]) >= SAME_SOURCE_FRAC:
                pairs.append((a.label, b.label))
    return tuple(pairs)


def _identical_frac(time_a: Floats, a: Floats, time_b: Floats, b: Floats) -> float:
    """Share of a's moving samples that equal the nearest sample of b, or the one before or after it."""
    moving = np.concatenate(([False], np.diff(a) != 0)) & (a > IDLE_W)
    if moving.sum() < 60:
        return 0.0
    nearest = np.clip(np.searchsorted(time_b, time_a[moving]), 1, b.size - 2)
    return max(float(np.mean(b[nearest + k] == a[moving])) for k in (-1, 0, 1))


def _lost(mask: np.ndarray, least: int, start_s: float) -> Lost:
    long = [(a, b) for a, b in runs(mask) if b - a >= least]
    return Lost(seconds=sum(b - a for a, b in long), runs=len(long), first_s=start_s + long[0][0] if long else None)
