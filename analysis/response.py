"""How a device answers a change of power, once the clocks agree: lag, rise, smoothing, peaks. Device against reference.

`lag_s` is positive when the device is later. Rests on the trial's one-second means around each marked change of power.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.aligning import INTERVALS_DIFFER_S, Alignment
from analysis.blocks import Block, surges
from analysis.refining import REACH, SMOOTHING, vertex
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
# Widths tried for the moving mean that turns the faster device into the slower, and the steps of its lag. [s]
WIDTHS_S = np.arange(1, 13)
# Lags and widths are tried on a grid of tenths of a second, lags in steps of two of them.
TENTHS, LAG_STEP_TENTHS = 10, 2
EDGE_S = 30  # room beyond the trial's ends for the longest lag and width
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
    lags = _event_lags(device, reference, events)
    lag, lag_ci, note = _lag(lags, alignment, trial.recording(label).interval_s, trial.recordings[0].interval_s)
    rises = [r for r in (_rises(device, reference, e) for e in events if e.rises) if r is not None]
    enough = len(rises) >= MIN_EVENTS
    return Response(
        label=label,
        events=int(lags.size),
        lag_s=lag,
        lag_ci_s=lag_ci,
        rise_s=float(np.median([r[0] for r in rises])) if enough else None,
        reference_rise_s=float(np.median([r[1] for r in rises])) if enough else None,
        smoothing_s=_smoothing(trial, label, events) if lags.size >= MIN_EVENTS else None,
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


def _smoothed(values: Floats, kernel: Floats) -> Floats:
    """The trace under a short kernel, same length and phase; NaN spreads and the ends are NaN."""
    out, before = np.full(values.size, np.nan), (kernel.size - 1) // 2
    if values.size >= kernel.size:
        out[before : before + values.size - kernel.size + 1] = np.convolve(values, kernel, mode="valid")
    return out


def _unexplained(device: Floats, reference: Floats, events: Sequence[Event]) -> Floats:
    """Share of the device's variance that a straight line on the reference leaves, shape (events, lags).

    Infinite where a window runs into a hole or nothing moves in it.
    """
    at = np.array([e.first for e in events])[:, None, None] + np.arange(BEFORE_S + AFTER_S)
    x, y = device[at], reference[np.clip(at - LAGS_S[:, None], 0, reference.size - 1)]
    x, y = x - x.mean(axis=2, keepdims=True), y - y.mean(axis=2, keepdims=True)
    energy = (x * x).sum(axis=2) * (y * y).sum(axis=2)
    there = np.isfinite(energy) & (energy > 1e-6)
    product = (x * y).sum(axis=2) ** 2
    return np.where(there, 1.0 - np.divide(product, energy, out=np.zeros(energy.shape), where=there), np.inf)


def _event_lags(device: Floats, reference: Floats, events: Sequence[Event]) -> Floats:
    """Fractional lag of each event that shows a common change. [s]"""
    if not events:
        return np.empty(0)
    left = _unexplained(_smoothed(device, SMOOTHING), _smoothed(reference, SMOOTHING), events)
    best = np.argmin(left, axis=1)
    inside = (best >= REACH) & (best < LAGS_S.size - REACH) & (left.min(axis=1) <= MAX_UNEXPLAINED)
    return np.array(
        [LAGS_S[k] + vertex(row[k - REACH : k + REACH + 1]) for row, k in zip(left[inside], best[inside], strict=True)]
    )


def _lag(
    lags: Floats, alignment: Alignment, interval_s: float, reference_interval_s: float
) -> tuple[float | None, tuple[float, float] | None, str]:
    if alignment.via in ("power", "clock") or not alignment.settled:
        return None, None, "The clocks were set by power itself or not at all, so a response lag cannot be told from the clock."
    if lags.size < MIN_EVENTS:
        return None, None, f"Only {lags.size} clear changes of power; at least {MIN_EVENTS} are needed for a lag."
    centre = np.median(lags)
    spread = 1.4826 * float(np.median(np.abs(lags - centre)))
    kept = lags[np.abs(lags - centre) <= max(4 * spread, 1.0)]
    mean = float(kept.mean())
    half = float(stats.t.ppf(0.975, max(kept.size - 1, 1))) * float(kept.std(ddof=1)) / math.sqrt(kept.size)
    half = math.hypot(half, 1.96 * (alignment.shift_se_s or 0.0))
    note, stamping = "", abs(interval_s - reference_interval_s) / 2
    if stamping > INTERVALS_DIFFER_S / 2:
        # not an error that averages out: a bound on either side of the interval
        half += stamping
        note = (
            f"It records every {interval_s:g} s, the reference every {reference_interval_s:g} s; "
            f"up to {stamping:.1f} s of the lag may be due to that alone."
        )
    if alignment.via == "manual":
        note = "The shift was set by hand; its error moves the lag by as much, and the interval does not know of it. " + note
    return mean, (mean - half, mean + half), note.strip()


def _rises(device: Floats, reference: Floats, event: Event) -> tuple[float, float] | None:
    window = slice(event.first, event.last)
    if not np.isfinite(device[window]).all():
        return None
    ours, theirs = rising_transition(device[window]), rising_transition(reference[window])
    return None if ours is None or theirs is None else (ours.duration, theirs.duration)


def _smoothing(trial: Trial, label: str, events: Sequence[Event]) -> float:
    """Signed width of the moving mean that, with a lag, best turns the faster of the two into the slower. [s]"""
    (width, gain), (other_width, other_gain) = (
        _best_width(trial, slow, fast, events) for slow, fast in ((label, trial.reference), (trial.reference, label))
    )
    if max(gain, other_gain) < MIN_SMOOTHING_GAIN:
        return 0.0
    return width if gain >= other_gain else -other_width


def _best_width(trial: Trial, slow: str, fast: str, events: Sequence[Event]) -> tuple[float, float]:
    """Width of a moving mean over `fast` that best fits `slow`, and the share of the unexplained it takes away.

    The mean runs over the fast device's own samples, so that neither lag nor width is bound to whole seconds; the slow
    one's seconds are means as well, and a width of 1 s is therefore no smoothing at all.
    """
    at = np.array([e.first for e in events])[:, None] + np.arange(BEFORE_S + AFTER_S)
    whole = np.isfinite(trial.per_second(slow)[at]).all(axis=1)
    if not whole.any():
        return 0.0, 0.0
    x = trial.per_second(slow)[at[whole]]
    x = x - x.mean(axis=1, keepdims=True)
    middle = TENTHS * (at[whole] + EDGE_S) + TENTHS // 2
    grid = np.arange(TENTHS * (int(trial.duration_s) + 2 * EDGE_S) + 1) / TENTHS + trial.start_s - EDGE_S
    running = np.stack(trial.recording(fast).steps().running(grid))
    centre = int(np.argmin(_left(x, middle, running, TENTHS * LAGS_S, 2 * TENTHS)))
    lags = TENTHS * int(LAGS_S[centre]) + np.arange(-TENTHS, TENTHS + 1, LAG_STEP_TENTHS)

    def cost(width: int) -> float:
        return float(_left(x, middle, running, lags, width).min())

    costs = {w: cost(w) for w in (TENTHS * WIDTHS_S).tolist()}
    plain, rough = costs[TENTHS], min(costs, key=costs.__getitem__)
    if not np.isfinite(plain):
        return 0.0, 0.0
    costs |= {w: cost(w) for w in (rough - TENTHS // 2, rough + TENTHS // 2) if w > TENTHS}
    best = min(costs, key=costs.__getitem__)
    return (best / TENTHS, 1 - costs[best] / plain) if best > TENTHS else (0.0, 0.0)


def _left(x: Floats, middle: np.ndarray, running: Floats, lags: np.ndarray, width: int) -> Floats:
    """Per lag, the mean over events of the share of x's variance that the fast device's moving mean leaves.

    x : (events, seconds), centred. middle : where each second has its middle, lags and width: tenths of a second.
    running : covered time and integral at every tenth. Events in which the mean runs into a hole are left out.
    """
    late = middle - lags[:, None, None] + width // 2
    covered, work = running[:, late] - running[:, late - width]
    full = covered > 0.5 * width / TENTHS
    y = np.divide(work, covered, out=np.full(work.shape, np.nan), where=full)
    y -= y.mean(axis=2, keepdims=True)
    energy = np.maximum((x * x).sum(axis=1) * (y * y).sum(axis=2), 1e-9)
    share = 1.0 - np.einsum("es,les->le", x, y) ** 2 / energy
    there = np.isfinite(share)
    total = np.where(there, share, 0.0).sum(axis=1)
    return np.divide(total, there.sum(axis=1), out=np.full(len(lags), np.inf), where=there.any(axis=1))


def _peaks(trial: Trial, label: str, blocks: Sequence[Block]) -> tuple[Peak, ...]:
    found, sprints = [], surges(blocks)
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
