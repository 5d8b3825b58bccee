"""Sprints of a device against the reference: work, peaks and how far they are luck, overshoot, the return to low power.

Percent of the reference; seconds. The windows of a device are moved by its response lag where that is known.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import interpolate, special

from analysis.blocks import Block, surges
from analysis.numerals import plain
from analysis.response import Response
from analysis.traces import Floats, Steps
from analysis.transitions import Transition, rising_transition
from analysis.trial import Trial

WORK_S = (5, 10, 15, 30)
PEAKS_S = (1, 5, 10, 15)
# Seconds looked at before a sprint's block begins and after it ends.
BEFORE_S, AFTER_S = 8, 14
# Places within a second at which the seconds of a recorder may begin.
PHASES = np.arange(0.0, 1.0, 0.1)
# A smaller difference in smoothing is below what one-second samples resolve (two devices whose seconds begin at different
# places look up to 2 s apart); nothing is made equal. [s]
MIN_SMOOTHING_S = 2.25
MIN_SPRINTS_FOR_INTERVAL = 3
LEVEL = 0.95


@dataclass(frozen=True, kw_only=True)
class Work:
    """Work over the first `duration_s` of every sprint together; the sprints are the replicates. [%]"""

    duration_s: int
    sprints: int
    delta_pct: float
    delta_pct_ci: tuple[float, float] | None


@dataclass(frozen=True, kw_only=True)
class PhasedPeak:
    """Best mean of every sprint together, and the interval that the place where seconds begin alone gives it. [%]

    phase_pct : by how much the best of one same sprint varies with that place, mean over sprints and both devices.
    """

    duration_s: int
    sprints: int
    delta_pct: float
    phase_ci_pct: tuple[float, float]
    phase_pct: float


@dataclass(frozen=True, kw_only=True)
class EqualSmoothing:
    """Best means after the faster device has been smoothed to the slower one's width."""

    smoothed: str
    width_s: float
    peaks: tuple[tuple[int, float], ...]
    note: str


@dataclass(frozen=True, kw_only=True)
class Sprints:
    """One device's sprints; medians over sprints, None where fewer than two carry the figure.

    overshoot_pct : of the step's height; the rider's own is in both. fall_s : on the return from high to low, from half-height
    to a tenth of it (a sprint fades, so its upper half says little); fall_lag_s : how much later the device passes half-height.
    """

    label: str
    sprints: int
    work: tuple[Work, ...]
    peaks: tuple[PhasedPeak, ...]
    overshoot_pct: float | None
    reference_overshoot_pct: float | None
    fall_s: float | None
    reference_fall_s: float | None
    fall_lag_s: float | None
    equal_smoothing: EqualSmoothing | None
    note: str


def sprints_of(trial: Trial, blocks: Sequence[Block], response: Response) -> Sprints:
    """Sprints of one device. The lag in `response` moves its windows; without one they stay where the reference's are."""
    label, found = response.label, surges(blocks)
    lag = response.lag_s or 0.0
    device, reference = trial.recording(label).steps(), trial.recordings[0].steps()
    ups = [u for u in (_edge(trial, label, b, rising=True) for b in found) if u is not None]
    downs = [d for d in (_edge(trial, label, b, rising=False) for b in found) if d is not None]
    starts = _starts(trial, found)
    note = f"The windows of {label} are moved by its response lag of {plain(lag)} s." if response.lag_s is not None else (
        "No response lag is known, so the windows of both are the same; a late device loses work to that."
    )  # fmt: skip
    return Sprints(
        label=label, sprints=len(found), work=tuple(w for d in WORK_S if (w := _work(device, reference, starts, d, lag))),
        peaks=tuple(p for d in PEAKS_S if (p := _phased_peak(device, reference, found, d, lag))),
        overshoot_pct=_median(u[0].overshoot_pct for u in ups), reference_overshoot_pct=_median(u[1].overshoot_pct for u in ups),
        fall_s=_median(d[0].at_90 - d[0].at_50 for d in downs), reference_fall_s=_median(d[1].at_90 - d[1].at_50 for d in downs),
        fall_lag_s=_median(d[0].at_50 - d[1].at_50 for d in downs),
        equal_smoothing=_equal_smoothing(trial, found, response), note=note if found else "No sprint was found.",
    )  # fmt: skip


def _median(values: Iterable[float]) -> float | None:
    kept = list(values)
    return float(np.median(kept)) if len(kept) >= 2 else None


def _edge(trial: Trial, label: str, block: Block, *, rising: bool) -> tuple[Transition, Transition] | None:
    """Transitions of device and reference into or out of a sprint; the fall is read upside down."""
    first, last = block.start_s - trial.start_s, block.end_s - trial.start_s
    if rising:
        window = slice(max(int(first) - BEFORE_S, 0), int(last))
    else:
        window = slice(int(max(first, last - AFTER_S)), int(last) + AFTER_S)
    sign = 1.0 if rising else -1.0
    both = [sign * trial.per_second(one)[window] for one in (label, trial.reference)]
    if not all(np.isfinite(v).all() for v in both):
        return None
    found = [rising_transition(v) for v in both]
    return None if found[0] is None or found[1] is None else (found[0], found[1])


def _starts(trial: Trial, blocks: Sequence[Block]) -> Floats:
    """Where the reference first passes half of its way up in each sprint. [s]"""
    power, found = trial.per_second(trial.reference), []
    for block in blocks:
        first = max(int(block.start_s - trial.start_s) - 3, 0)
        window = power[first : int(block.end_s - trial.start_s)]
        if window.size and np.isfinite(window).all():
            half = (window[:2].mean() + window.max()) / 2
            found.append(trial.start_s + first + int(np.argmax(window >= half)))
    return np.array(found, float)


def _work(device: Steps, reference: Steps, starts: Floats, duration: int, lag: float) -> Work | None:
    ours, theirs = device.means(starts + lag, starts + lag + duration), reference.means(starts, starts + duration)
    whole = np.isfinite(ours) & np.isfinite(theirs)
    k, ours, theirs = int(whole.sum()), ours[whole], theirs[whole]
    if k == 0 or not theirs.sum() > 0:
        return None
    ratio, ci = float(ours.sum() / theirs.sum()), None
    if k >= MIN_SPRINTS_FOR_INTERVAL:
        # error of a ratio estimator with the sprints as clusters, as for blocks
        se = math.sqrt(k / (k - 1) * float(((ours - ratio * theirs) ** 2).sum())) / float(theirs.sum())
        half = 100 * float(special.stdtrit(k - 1, (1 + LEVEL) / 2)) * se
        ci = (100 * (ratio - 1) - half, 100 * (ratio - 1) + half)
    return Work(duration_s=duration, sprints=k, delta_pct=100 * (ratio - 1), delta_pct_ci=ci)


def _phased_peak(device: Steps, reference: Steps, blocks: Sequence[Block], duration: int, lag: float) -> PhasedPeak | None:
    """Bests of both at every phase; the phases of the two devices are independent of each other."""
    ours, theirs = [], []
    for block in blocks:
        span = (block.start_s - 3.0, block.end_s + AFTER_S)
        if block.length_s < duration:
            continue
        both = bests_by_phase(device, span[0] + lag, span[1] + lag, duration), bests_by_phase(reference, *span, duration)
        if both[0] is not None and both[1] is not None and both[1].min() > 0:
            ours.append(both[0])
            theirs.append(both[1])
    if not ours:
        return None
    d, r = np.array(ours), np.array(theirs)
    ratio = float(d.mean() / r.mean())
    # per sprint every pairing of phases; sprints fall on phases of their own
    pairs = 100 * (d[:, :, None] / r[:, None, :] - 1).reshape(len(d), -1)
    widest = float((pairs.max(axis=1) - pairs.min(axis=1)).mean()) / 2
    half = min(widest, 1.96 * math.sqrt(float(pairs.var(axis=1).mean()) / len(d)))
    centre = 100 * (ratio - 1)
    spread = np.mean([np.ptp(x, axis=1) / x.mean(axis=1) for x in (d, r)])
    return PhasedPeak(
        duration_s=duration, sprints=len(d), delta_pct=centre, phase_ci_pct=(centre - half, centre + half),
        phase_pct=100 * float(spread),
    )  # fmt: skip


def bests_by_phase(steps: Steps, start_s: float, end_s: float, duration: int) -> Floats | None:
    """Best mean over `duration` whole seconds for every place at which the seconds may begin, shape (phases,). [W]

    Between samples the running work follows a cubic spline, which keeps the work of every sample but flattens what happens
    within it: the spread over places is an upper estimate. None where a sample is missing from the stretch.
    """
    inside = (steps.end_s > start_s) & (steps.start_s < end_s)
    begin, finish, value = steps.start_s[inside], steps.end_s[inside], steps.value[inside]
    if value.size < duration + 3 or (begin[1:] - finish[:-1] > 0.25).any():
        return None
    knots = np.concatenate((begin, finish[-1:]))
    work = np.concatenate(([0.0], np.cumsum(np.diff(knots) * value)))
    curve = interpolate.CubicSpline(knots, work)
    last = math.floor(finish[-1] - begin[0] - 1)
    edges = begin[0] + PHASES[:, None] + np.arange(last + 1)
    total = curve(edges)
    return ((total[:, duration:] - total[:, :-duration]) / duration).max(axis=1)


def _equal_smoothing(trial: Trial, blocks: Sequence[Block], response: Response) -> EqualSmoothing | None:
    width = response.smoothing_s
    if width is None or abs(width) < MIN_SMOOTHING_S or not blocks:
        return None
    fast = trial.reference if width > 0 else response.label
    middle = trial.second_s + 0.5
    half = abs(width) / 2
    traces = {one: trial.per_second(one) for one in (response.label, trial.reference)}
    traces[fast] = trial.recording(fast).steps().means(middle - half, middle + half)
    peaks = []
    for duration in PEAKS_S:
        best = np.array([_bests(traces, trial, b, duration, response.label) for b in blocks if b.length_s >= duration])
        best = best[np.isfinite(best).all(axis=1)] if best.size else best
        if best.size:
            peaks.append((duration, float(100 * (best[:, 0].sum() / best[:, 1].sum() - 1))))
    return EqualSmoothing(
        smoothed=fast, width_s=abs(width), peaks=tuple(peaks),
        note=f"For these figures {fast} has been smoothed by a moving mean of {abs(width):.1f} s; no other figure is.",
    )  # fmt: skip


def _bests(traces: dict[str, Floats], trial: Trial, block: Block, duration: int, label: str) -> tuple[float, float]:
    first, last = int(max(block.start_s - trial.start_s - 3, 0)), int(block.end_s - trial.start_s + AFTER_S)
    kernel = np.full(duration, 1 / duration)
    ours, theirs = (np.convolve(traces[one][first:last], kernel, mode="valid").max() for one in (label, trial.reference))
    return float(ours), float(theirs)
