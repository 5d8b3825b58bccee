"""How a device answers a change of power, once the clocks agree: lag, rise, smoothing, peaks. Device against reference.

`lag_s` is positive when the device is later. Rests on the trial's one-second means around each marked change of power.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.aligning import Alignment
from analysis.blocks import Block
from analysis.matching import SMOOTHING, vertex
from analysis.traces import Floats
from analysis.transitions import rising_transition
from analysis.trial import Trial

# Windows around a change: seconds before it begins and after it ends.
BEFORE_S, AFTER_S = 8, 14
# A change counts when the reference moves at least this much within its window. Common practice, no source.
MIN_CHANGE_W = 60.0
# Lags tried, in whole seconds before refinement; a device later than ten seconds is a clock problem.
LAGS_S = np.arange(-6, 11)
# An event whose best lag leaves more than this unexplained shows no common change.
MAX_UNEXPLAINED = 0.4
MIN_EVENTS = 3
# Widths tried for the moving mean that turns the faster device into the slower. [s]
WIDTHS_S = np.arange(1, 13)
# A width is believed when it takes away at least this share of what a pure lag leaves unexplained.
MIN_SMOOTHING_GAIN = 0.25
PEAK_DURATIONS_S = (1, 5, 10, 15)


@dataclass(frozen=True, kw_only=True)
class Peak:
    """Best mean over `duration_s` within each sprint, device against reference, all sprints together. [%]"""

    duration_s: int
    delta_pct: float


@dataclass(frozen=True, kw_only=True)
class Response:
    """One device's response; None where the trial cannot tell. `smoothing_s` is negative when the reference smooths more."""

    label: str
    events: int
    lag_s: float | None
    lag_ci_s: tuple[float, float] | None
    rise_s: float | None
    reference_rise_s: float | None
    smoothing_s: float | None
    peaks: tuple[Peak, ...]
    note: str


@dataclass(frozen=True, kw_only=True)
class Event:
    """A change of power: index range into the trial's seconds, and whether it rises."""

    first: int
    last: int
    rises: bool


def response_of(trial: Trial, blocks: Sequence[Block], alignment: Alignment) -> Response:
    """Response of one device over the trial's surges, sprints and step edges."""
    label = alignment.label
    device, reference = trial.per_second(label), trial.per_second(trial.reference)
    events = find_events(reference, trial.start_s, blocks)
    lags = np.array([lag for lag in (_event_lag(device, reference, e) for e in events) if lag is not None])
    lag, lag_ci, note = _lag(lags, alignment)
    rises = [r for r in (_rises(device, reference, e) for e in events if e.rises) if r is not None]
    enough = len(rises) >= MIN_EVENTS
    return Response(
        label=label,
        events=int(lags.size),
        lag_s=lag,
        lag_ci_s=lag_ci,
        rise_s=float(np.median([r[0] for r in rises])) if enough else None,
        reference_rise_s=float(np.median([r[1] for r in rises])) if enough else None,
        smoothing_s=_smoothing(device, reference, events) if lags.size >= MIN_EVENTS else None,
        peaks=_peaks(trial, label, blocks),
        note=note,
    )


def find_events(reference_w: Floats, start_s: float, blocks: Sequence[Block]) -> tuple[Event, ...]:
    """Edges between blocks, and both sides of a surge, where the reference moves by `MIN_CHANGE_W` at least."""
    edges = sorted({int(b.start_s - start_s) for b in blocks[1:]})
    events: list[Event] = []
    for edge in edges:
        first, last = max(edge - BEFORE_S, 0), min(edge + AFTER_S, reference_w.size)
        window = reference_w[first:last]
        if window.size < BEFORE_S + AFTER_S or not np.isfinite(window).all() or np.ptp(window) < MIN_CHANGE_W:
            continue
        if events and first < events[-1].first + 6:
            continue
        events.append(Event(first=first, last=last, rises=bool(window[-5:].mean() > window[:5].mean() + MIN_CHANGE_W)))
    return tuple(events)


def _event_lag(device: Floats, reference: Floats, event: Event) -> float | None:
    half = SMOOTHING.size // 2
    x = device[event.first - half : event.last + half] if event.first >= half else np.empty(0)
    if x.size < event.last - event.first + 2 * half or not np.isfinite(x).all():
        return None
    smooth = np.convolve(x, SMOOTHING, mode="valid")
    left = np.array([_unexplained(smooth, _window(reference, event, lag, SMOOTHING)) for lag in LAGS_S])
    best = int(np.argmin(left))
    if not left[best] <= MAX_UNEXPLAINED or best in (0, LAGS_S.size - 1):
        return None
    return float(LAGS_S[best] + vertex(left[best - 1 : best + 2]))


def _window(values: Floats, event: Event, lag: int, kernel: Floats) -> Floats:
    half = kernel.size // 2
    first, last = event.first - lag - half, event.last - lag + kernel.size - 1 - half
    if first < 0 or last > values.size:
        return np.empty(0)
    return np.convolve(values[first:last], kernel, mode="valid")


def _unexplained(x: Floats, y: Floats) -> float:
    """Share of x's variance that a straight line on y leaves; inf where there is no y."""
    if y.size != x.size or not np.isfinite(y).all() or x.std() == 0 or y.std() == 0:
        return math.inf
    return 1.0 - float(np.corrcoef(x, y)[0, 1]) ** 2


def _lag(lags: Floats, alignment: Alignment) -> tuple[float | None, tuple[float, float] | None, str]:
    if alignment.via in ("power", "clock") or not alignment.settled:
        return None, None, "The clocks were set by power itself or not at all, so a response lag cannot be told from the clock."
    if lags.size < MIN_EVENTS:
        return None, None, f"Only {lags.size} clear changes of power; at least {MIN_EVENTS} are needed for a lag."
    centre = np.median(lags)
    spread = 1.4826 * float(np.median(np.abs(lags - centre)))
    kept = lags[np.abs(lags - centre) <= max(4 * spread, 1.0)]
    mean = float(kept.mean())
    se = math.hypot(float(kept.std(ddof=1)) / math.sqrt(kept.size), alignment.shift_se_s or 0.0)
    half = float(stats.t.ppf(0.975, max(kept.size - 1, 1))) * se
    note = "The shift was set by hand; the lag is what is left of the delay after it." if alignment.via == "manual" else ""
    return mean, (mean - half, mean + half), note


def _rises(device: Floats, reference: Floats, event: Event) -> tuple[float, float] | None:
    window = slice(event.first, event.last)
    if not np.isfinite(device[window]).all():
        return None
    ours, theirs = rising_transition(device[window]), rising_transition(reference[window])
    return None if ours is None or theirs is None else (ours.duration, theirs.duration)


def _smoothing(device: Floats, reference: Floats, events: Sequence[Event]) -> float:
    """Signed width of the moving mean that, with a lag, best turns the faster of the two into the slower. [s]"""
    forward, backward = (_best_width(a, b, events) for a, b in ((device, reference), (reference, device)))
    (width, gain), (other_width, other_gain) = forward, backward
    if max(gain, other_gain) < MIN_SMOOTHING_GAIN:
        return 0.0
    return float(width) if gain >= other_gain else -float(other_width)


def _best_width(slow: Floats, fast: Floats, events: Sequence[Event]) -> tuple[int, float]:
    """Width of a moving mean over `fast` that best fits `slow`, and the share of the unexplained it takes away."""
    usable = [e for e in events if np.isfinite(slow[e.first : e.last]).all()]
    left = []
    for width in WIDTHS_S:
        kernel = np.full(width, 1.0 / width)
        left.append(sum(min(_unexplained(slow[e.first : e.last], _window(fast, e, lag, kernel)) for lag in LAGS_S) for e in usable))
    costs = np.array(left)
    if not costs.size or not np.isfinite(costs[0]) or costs[0] <= 0:
        return 0, 0.0
    best = int(np.argmin(costs))
    return int(WIDTHS_S[best]), float(1 - costs[best] / costs[0]) if best else 0.0


def _peaks(trial: Trial, label: str, blocks: Sequence[Block]) -> tuple[Peak, ...]:
    sprints = [b for b in blocks if b.kind == "transient" and b.name.startswith("sprint")]
    found = []
    device, reference = trial.per_second(label), trial.per_second(trial.reference)
    for duration in PEAK_DURATIONS_S:
        pairs = [p for p in (_peak_pair(device, reference, trial.start_s, b, duration) for b in sprints) if p is not None]
        if pairs:
            ours, theirs = np.sum(pairs, axis=0)
            found.append(Peak(duration_s=duration, delta_pct=float(100 * (ours / theirs - 1))))
    return tuple(found)


def _peak_pair(device: Floats, reference: Floats, start_s: float, block: Block, duration: int) -> tuple[float, float] | None:
    first, last = int(max(block.start_s - start_s - 3, 0)), int(block.end_s - start_s + AFTER_S)
    ours, theirs = device[first:last], reference[first:last]
    if ours.size < duration or block.length_s < duration or not (np.isfinite(ours).all() and np.isfinite(theirs).all()):
        return None
    kernel = np.full(duration, 1.0 / duration)
    best = np.convolve(theirs, kernel, mode="valid").max()
    return (float(np.convolve(ours, kernel, mode="valid").max()), float(best)) if best > 0 else None
