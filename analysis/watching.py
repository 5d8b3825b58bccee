"""What a recording did while the others show that power was being made: drop-outs, held values, the same sensor twice."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.consensus import IDLE_W, Consensus
from analysis.runs import runs
from analysis.trial import AlignedRecording, Trial

# A value repeated for this long while the others move is no reading. Common practice, no source.
MIN_STUCK_S = 10
OTHERS_MOVE_W = 3.0
# Shorter holes are ordinary radio loss.
MIN_DROPOUT_S = 3
# Two recordings with this share of identical moving samples carry one sensor's values: two devices that write whole watts
# would have to agree within half a watt to come near it. They are sought this far from where the clocks put them.
SAME_SOURCE_FRAC = 0.7
SAME_SOURCE_REACH_S = 3.0
# Bicycle power, in the device-type enum of the FIT profile.
POWER_DEVICE_TYPE = 11


@dataclass(frozen=True, kw_only=True)
class Lost:
    """Seconds without a true reading: in all, in how many runs, where the first begins, and each run. [s on the trial's clock]"""

    seconds: int
    runs: int
    first_s: float | None
    spans: tuple[tuple[float, float], ...] = ()


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


def same_source(trial: Trial, facts: Sequence[Mapping[str, Any]]) -> tuple[tuple[str, str], ...]:
    """Pairs of labels whose power comes from one sensor: by the sensor's serial, or by values identical up to a shift.

    facts : what each recording says of its devices, in the trial's order. A serial decides where both name one power
        sensor only; with several, nobody knows which of them was written, and the values decide.
    """
    pairs = []
    for i, a in enumerate(trial.recordings):
        for j, b in enumerate(trial.recordings[i + 1 :], i + 1):
            serial = _power_sensor(facts[i])
            if (serial is not None and serial == _power_sensor(facts[j])) or _identical_frac(a, b) >= SAME_SOURCE_FRAC:
                pairs.append((a.label, b.label))
    return tuple(pairs)


def _power_sensor(facts: Mapping[str, Any]) -> str | None:
    """Hashed serial of the recording's power sensor, where it names exactly one."""
    sensors = facts.get("sensors")
    known = [s for s in sensors if s.get("device_type") == POWER_DEVICE_TYPE] if isinstance(sensors, list) else []
    return known[0].get("serial_hash") if len(known) == 1 else None


def _identical_frac(a: AlignedRecording, b: AlignedRecording) -> float:
    """Share of the slower one's moving samples that equal a sample of the other, at one and the same delay of samples."""
    slow, fast = (a, b) if a.interval_s >= b.interval_s else (b, a)
    ours, theirs = slow.channels["power_w"], fast.channels["power_w"]
    moving = np.concatenate(([False], np.diff(ours) != 0)) & (ours > IDLE_W)
    if moving.sum() < 60 or theirs.size < 3:
        return 0.0
    nearest = np.searchsorted(fast.time_s, slow.time_s[moving])
    reach = math.ceil(SAME_SOURCE_REACH_S / fast.interval_s)
    shares = (np.mean(theirs[np.clip(nearest + k, 0, theirs.size - 1)] == ours[moving]) for k in range(-reach, reach + 1))
    return max(map(float, shares))


def _lost(mask: np.ndarray, least: int, start_s: float) -> Lost:
    long = [(a, b) for a, b in runs(mask) if b - a >= least]
    spans = tuple((start_s + a, start_s + b) for a, b in long)
    return Lost(seconds=sum(b - a for a, b in long), runs=len(long), first_s=spans[0][0] if spans else None, spans=spans)
