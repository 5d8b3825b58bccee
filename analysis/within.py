"""What a stretch of a trial shows of one device beside its delta: cadence, best means, seconds lost.

Watts, revolutions a minute, seconds on the trial's clock; device minus reference, or minus any other. Cheap enough to follow a
pointer: whole seconds are kept with the trial, and a stretch costs a running total over its own seconds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.bests import MIN_COVER
from analysis.consensus import IDLE_W
from analysis.deltas import MIN_REFERENCE_W
from analysis.runs import runs
from analysis.traces import Floats
from analysis.trial import Trial
from analysis.watching import MIN_DROPOUT_S

PEAKS_S = (1, 5, 10)


@dataclass(frozen=True, kw_only=True)
class Peak:
    """Best mean over `duration_s` of device and whom it is held against, each its own, over the seconds that both cover."""

    duration_s: int
    best_w: float
    reference_best_w: float
    delta_w: float
    delta_pct: float | None


@dataclass(frozen=True, kw_only=True)
class Within:
    """One device over one stretch. `lost_s` seconds in `lost_runs` runs: no power from it while another one makes some.

    Runs of at least `MIN_DROPOUT_S` s within the device's own recording; one that reaches beyond the stretch counts with the
    seconds that lie in it.
    """

    label: str
    cadence_rpm: float | None
    peaks: tuple[Peak, ...]
    lost_s: int
    lost_runs: int


def within(trial: Trial, label: str, start_s: float, end_s: float, *, against: str | None = None) -> Within:
    """One recording over a stretch; the one held against has no peaks of its own. Raises OutOfRange for an unknown label."""
    held = against or trial.reference
    cadence = float(trial.recording(label).steps("cadence_rpm").means([start_s], [end_s])[0])
    first = max(math.ceil(start_s - trial.start_s), 0)
    last = max(math.floor(end_s - trial.start_s), first)
    lost = [min(b, last) - max(a, first) for a, b in _lost(trial, label) if b > first and a < last]
    return Within(
        label=label,
        cadence_rpm=cadence if math.isfinite(cadence) else None,
        peaks=() if label == held else peaks_within(trial, label, first, last, against=held),
        lost_s=sum(lost), lost_runs=len(lost),
    )  # fmt: skip


def peaks_within(trial: Trial, label: str, first: int, last: int, *, against: str | None = None) -> tuple[Peak, ...]:
    """Best means inside the trial's whole seconds [first, last); durations that they do not hold are left out."""
    device, reference = (trial.per_second(one)[first:last] for one in (label, against or trial.reference))
    both = np.isfinite(device) & np.isfinite(reference)
    covered, ours, theirs = (_running(np.where(both, values, 0.0)) for values in (np.ones(both.size), device, reference))
    found = []
    for duration in PEAKS_S:
        seconds = covered[duration:] - covered[:-duration]
        whole = seconds >= MIN_COVER * duration
        if not whole.any():
            continue
        best, other = (float(((t[duration:] - t[:-duration])[whole] / seconds[whole]).max()) for t in (ours, theirs))
        pct = 100 * (best / other - 1) if other >= MIN_REFERENCE_W else None
        found.append(Peak(duration_s=duration, best_w=best, reference_best_w=other, delta_w=best - other, delta_pct=pct))
    return tuple(found)


def _lost(trial: Trial, label: str) -> list[tuple[int, int]]:
    """Seconds without power from this device, within its recording, while another one reads more than coasting."""
    there = np.isfinite(trial.per_second(label))
    if not there.any():
        return []
    within_own = np.zeros(there.size, bool)
    within_own[int(np.argmax(there)) : there.size - int(np.argmax(there[::-1]))] = True
    made = np.zeros(there.size, bool)
    for other in trial.labels:
        made |= trial.per_second(other) > IDLE_W  # a comparison with NaN is false
    return [(a, b) for a, b in runs(within_own & ~there & made) if b - a >= MIN_DROPOUT_S]


def _running(values: Floats) -> Floats:
    return np.concatenate(([0.0], np.cumsum(values)))
