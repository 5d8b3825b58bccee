"""Put every recording on the reference's clock: shift in seconds, its standard error, drift in ppm, and by what signal.

A shift is what must be added to a recording's own stamps. Where both recordings carry a signal from a shared source, the
shift comes from that signal and what remains of the power's delay is the response lag; with power alone the two
cannot be told apart. An ambiguous match is never settled.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from analysis.errors import NotOneRide
from analysis.matching import Match, best_match, prepared, residuals, vertex
from analysis.reading.recording import Recording
from analysis.traces import Floats

# In the order of trust where their errors are alike; power is last because it also holds the response lag, and
# temperature is left out: each unit has its own.
SHARED = ("heart_rate_bpm", "cadence_rpm", "speed_mps", "altitude_m")
VIA = {
    "heart_rate_bpm": "heart_rate",
    "cadence_rpm": "cadence",
    "speed_mps": "speed",
    "altitude_m": "altitude",
    "power_w": "power",
}
# A match is settled when it explains enough, leads the next peak by this log-likelihood (odds of e^8, about 3000 to
# one) and is sharp. Common practice, no source; the false-certainty test in tests/analysis guards them.
MIN_CORRELATION = 0.6
MIN_MARGIN = 8.0
MAX_SE_S = 0.5
# Recordings whose clocks do not overlap at all must match far better before they are believed to be one ride.
STRANGER_CORRELATION = 0.9
STRANGER_MARGIN = 50.0
STRANGER_OVERLAP_FRAC = 0.5
# Two signals disagree when their shifts differ by more than this and three standard errors.
DISAGREE_S = 1.0
# Windows for the drift of one clock against the other, and how sure a drift must be before it is applied.
DRIFT_WINDOW_S = 600
MIN_DRIFT_WINDOWS = 4
DRIFT_SIGMA = 3.0
WINDOW_SE_FLOOR_S = 0.03


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """What one signal says of the shift. [s]"""

    via: str
    shift_s: float
    shift_se_s: float
    correlation: float
    margin: float
    rival_shift_s: float | None
    settled: bool
    overlap_s: int


@dataclass(frozen=True, kw_only=True)
class Alignment:
    """One recording's clock against the reference's.

    `reference time = own time + shift_s + drift_ppm * 1e-6 * (own time - pivot_s)` where the drift is applied, else
    without its last term; `pivot_s` is the middle of the recording on its own clock, so that `shift_s` is the mean shift.
    """

    label: str
    shift_s: float
    shift_se_s: float | None
    drift_ppm: float
    drift_se_ppm: float | None
    drift_applied: bool
    pivot_s: float
    via: str
    correlation: float | None
    settled: bool
    note: str
    candidates: tuple[Candidate, ...] = ()

    def to_reference(self, time_s: Floats) -> Floats:
        """Own stamps to the reference's clock. [s]"""
        drift = self.drift_ppm * 1e-6 if self.drift_applied else 0.0
        return time_s + self.shift_s + drift * (time_s - self.pivot_s)


@dataclass(frozen=True, kw_only=True)
class Grid:
    """One channel on whole seconds: `value[k]` was read at `start_s + k`."""

    start_s: float
    value: Floats


def gridded(recording: Recording, channel: str) -> Grid:
    """A channel on a one-second grid: mean of each second's readings, in the phase of the recording's own stamps.

    Slower recordings are joined by straight lines over up to two of their intervals; holes stay NaN.
    """
    time, value = recording.samples["time_s"].to_numpy(), recording.samples[channel].to_numpy(float)
    cell = np.floor(time - time[0]).astype(np.int64)
    n = int(cell[-1]) + 1
    there = np.isfinite(value)
    count = np.bincount(cell[there], minlength=n)
    total = np.bincount(cell[there], weights=value[there], minlength=n)
    grid = np.divide(total, count, out=np.full(n, np.nan), where=count > 0)
    phase = float(np.mean((time - time[0] - cell)[there])) if there.any() else 0.0
    if recording.interval_s > 1.5 and there.sum() > 1:
        phase, at = 0.0, time[0] + np.arange(n)
        known = np.flatnonzero(there)
        after = np.clip(np.searchsorted(time[known], at), 1, known.size - 1)
        near = time[known][after] - time[known][after - 1] <= 2.5 * recording.interval_s
        grid = np.where(near, np.interp(at, time[known], value[known]), np.nan)
    return Grid(start_s=float(time[0]) + phase, value=grid)


def align(recording: Recording, reference: Recording, *, label: str, by_hand_s: float | None = None) -> Alignment:
    """Find the shift of one recording against the reference.

    Raises
    ------
    NotOneRide
        The clocks share no time and no signal matches well enough to believe in a wrong clock.
    """
    pivot = recording.start_s + recording.duration_s / 2
    grids = {
        c: (gridded(recording, c), gridded(reference, c))
        for c in (*SHARED, "power_w")
        if c in recording.channels and c in reference.channels
    }
    if by_hand_s is not None:
        return Alignment(
            label=label,
            shift_s=by_hand_s,
            shift_se_s=None,
            drift_ppm=0.0,
            drift_se_ppm=None,
            drift_applied=False,
            pivot_s=pivot,
            via="manual",
            correlation=_correlation_at(grids, by_hand_s),
            settled=True,
            note="The shift was set by hand.",
        )
    candidates = tuple(c for c in (_candidate(channel, *pair) for channel, pair in grids.items()) if c is not None)
    overlap = _clock_overlap_s(recording, reference)
    if overlap <= 0:
        candidates = tuple(c for c in candidates if _believable(c, recording, reference))
    chosen, note = _choose(candidates)
    if chosen is None:
        return _by_clock(recording, reference, label, candidates, overlap, pivot)
    channel = next(k for k, v in VIA.items() if v == chosen.via)
    ppm, ppm_se = _drift(*grids[channel], chosen.shift_s)
    applied = ppm_se is not None and abs(ppm) > DRIFT_SIGMA * ppm_se
    if chosen.via == "power":
        note = "Only power could be matched, so this shift holds the response lag as well; the two cannot be told apart."
    return Alignment(
        label=label,
        shift_s=chosen.shift_s,
        shift_se_s=chosen.shift_se_s,
        drift_ppm=ppm,
        drift_se_ppm=ppm_se,
        drift_applied=applied,
        pivot_s=pivot,
        via=chosen.via,
        correlation=chosen.correlation,
        settled=True,
        note=note,
        candidates=candidates,
    )


def reference_alignment(reference: Recording, *, label: str) -> Alignment:
    """The reference against itself: shift zero by definition."""
    return Alignment(
        label=label,
        shift_s=0.0,
        shift_se_s=0.0,
        drift_ppm=0.0,
        drift_se_ppm=0.0,
        drift_applied=False,
        pivot_s=reference.start_s,
        via="clock",
        correlation=1.0,
        settled=True,
        note="The reference's own clock.",
    )


def _candidate(channel: str, device: Grid, reference: Grid) -> Candidate | None:
    match = best_match(device.value, reference.value)
    if match is None:
        return None
    offset = reference.start_s - device.start_s
    settled = match.correlation >= MIN_CORRELATION and match.margin >= MIN_MARGIN and match.lag_se <= MAX_SE_S
    return Candidate(
        via=VIA[channel],
        shift_s=match.lag + offset,
        shift_se_s=match.lag_se,
        correlation=match.correlation,
        margin=match.margin,
        rival_shift_s=_rival_shift(match, offset),
        settled=settled,
        overlap_s=match.overlap_s,
    )


def _rival_shift(match: Match, offset: float) -> float | None:
    return None if match.rival_lag is None else match.rival_lag + offset


def _believable(candidate: Candidate, recording: Recording, reference: Recording) -> bool:
    enough = STRANGER_OVERLAP_FRAC * min(recording.duration_s, reference.duration_s)
    return candidate.correlation >= STRANGER_CORRELATION and candidate.margin >= STRANGER_MARGIN and candidate.overlap_s >= enough


def _choose(candidates: tuple[Candidate, ...]) -> tuple[Candidate | None, str]:
    """The sharpest settled shared signal; power only where none is settled."""
    shared = sorted((c for c in candidates if c.settled and c.via != "power"), key=lambda c: c.shift_se_s)
    if not shared:
        return next((c for c in candidates if c.settled), None), ""
    best = shared[0]
    for other in shared[1:]:
        gap = abs(other.shift_s - best.shift_s)
        if gap > DISAGREE_S and gap > 3 * np.hypot(other.shift_se_s, best.shift_se_s):
            trusted, doubted = (best, other) if best.correlation >= other.correlation else (other, best)
            note = (
                f"{_plain(trusted.via)} and {_plain(doubted.via)} disagree by {gap:.1f} s; {_plain(trusted.via)} is used "
                f"because it matches more closely (correlation {trusted.correlation:.2f} against {doubted.correlation:.2f})."
            )
            return trusted, note[0].upper() + note[1:]
    return best, ""


def _by_clock(
    recording: Recording,
    reference: Recording,
    label: str,
    candidates: tuple[Candidate, ...],
    overlap_s: float,
    pivot_s: float,
) -> Alignment:
    if overlap_s <= 0:
        raise NotOneRide(
            f"{recording.name} and {reference.name} share no time ({_span(recording)} against {_span(reference)}) and no signal "
            "in them matches; leave one out, or give shift_s by hand if a clock was wrong."
        )
    near = [c for c in candidates if c.correlation >= MIN_CORRELATION]
    if near:
        # between equal peaks the one the clocks favour is shown, as a proposal and not as a fact
        shifts = [(abs(s), c) for c in near for s in (c.shift_s, c.rival_shift_s) if s is not None]
        shift, best = min(shifts, key=lambda pair: pair[0])
        sign = next(s for s in (best.shift_s, best.rival_shift_s) if s is not None and abs(s) == shift)
        note = "The match is ambiguous: several shifts fit about equally well. Check the overlay and set the shift by hand."
        return Alignment(
            label=label,
            shift_s=sign,
            shift_se_s=None,
            drift_ppm=0.0,
            drift_se_ppm=None,
            drift_applied=False,
            pivot_s=pivot_s,
            via=best.via,
            correlation=best.correlation,
            settled=False,
            note=note,
            candidates=candidates,
        )
    note = (
        "No signal in the two recordings matches; their own clocks are taken as they are. "
        "Check the overlay and set the shift by hand."
    )
    return Alignment(
        label=label,
        shift_s=0.0,
        shift_se_s=None,
        drift_ppm=0.0,
        drift_se_ppm=None,
        drift_applied=False,
        pivot_s=pivot_s,
        via="clock",
        correlation=None,
        settled=False,
        note=note,
        candidates=candidates,
    )


def _drift(device: Grid, reference: Grid, shift_s: float) -> tuple[float, float | None]:
    """Clock rate against the reference's in ppm, with its standard error; (0, None) where the ride is too short."""
    lag = round(shift_s - (reference.start_s - device.start_s))
    x, y = prepared(device.value), prepared(reference.value)
    first, last = max(0, -lag), min(x.size, y.size - lag)
    windows = (last - first) // DRIFT_WINDOW_S
    if windows < MIN_DRIFT_WINDOWS:
        return 0.0, None
    edges = np.linspace(first, last, int(min(windows, 24)) + 1).astype(int)
    found = [_window_lag(x[a:b], y, a, lag) for a, b in itertools.pairwise(edges)]
    points = np.array([(a + (b - a) / 2, f[0], f[1]) for a, b, f in zip(edges[:-1], edges[1:], found, strict=True) if f])
    if len(points) < MIN_DRIFT_WINDOWS:
        return 0.0, None
    return _robust_slope(points[:, 0], points[:, 1], points[:, 2])


def _window_lag(x: Floats, y: Floats, first: int, lag: int) -> tuple[float, float] | None:
    """Fractional lag of one window around the whole ride's, and its standard error; None where nothing moves in it."""
    trials = [residuals(x, y, lag + first + k) for k in (-2, -1, 0, 1, 2)]
    if min(t[0].size for t in trials) < DRIFT_WINDOW_S // 2:
        return None
    cost = np.array([float(e @ e) / e.size for e, _, _ in trials])
    best = int(np.argmin(cost))
    if best in (0, 4) or not cost[best] > 0:
        return None
    residual, slope_product, _ = trials[best]
    energy = float(slope_product.sum())
    if energy <= 0:
        return None
    error = float(np.sqrt(residual @ residual / residual.size / energy))
    return lag + best - 2 + vertex(cost[best - 1 : best + 2]), float(np.hypot(error, WINDOW_SE_FLOOR_S))


def _robust_slope(at: Floats, lag: Floats, error: Floats) -> tuple[float, float]:
    """Weighted line with Huber weights (k = 1.345); slope and error in ppm. The error grows with the scatter seen."""
    weight, centre = 1 / error**2, at.mean()
    design = np.column_stack((np.ones(at.size), at - centre))
    bent = weight
    for _ in range(10):
        normal = np.linalg.inv(design.T @ (design * bent[:, None]))
        coefficients = normal @ (design.T @ (bent * lag))
        z = np.abs(lag - design @ coefficients) / error
        bent = weight * np.minimum(1.0, 1.345 / np.maximum(z, 1e-9))
    spread = max(1.0, float(bent @ (lag - design @ coefficients) ** 2) / (at.size - 2))
    return float(coefficients[1] * 1e6), float(np.sqrt(normal[1, 1] * spread) * 1e6)


def _correlation_at(grids: dict[str, tuple[Grid, Grid]], shift_s: float) -> float | None:
    if "power_w" not in grids:
        return None
    device, reference = grids["power_w"]
    lag = round(shift_s - (reference.start_s - device.start_s))
    first, last = max(0, -lag), min(device.value.size, reference.value.size - lag)
    if last - first < 3:
        return None
    a, b = device.value[first:last], reference.value[first + lag : last + lag]
    there = np.isfinite(a) & np.isfinite(b)
    if there.sum() < 3 or a[there].std() == 0 or b[there].std() == 0:
        return None
    return float(np.corrcoef(a[there], b[there])[0, 1])


def _clock_overlap_s(a: Recording, b: Recording) -> float:
    if not (a.absolute_clock and b.absolute_clock):
        return 0.0 if a.absolute_clock != b.absolute_clock else min(a.duration_s, b.duration_s)
    return min(a.start_s + a.duration_s, b.start_s + b.duration_s) - max(a.start_s, b.start_s)


def _span(recording: Recording) -> str:
    if not recording.absolute_clock:
        return "a clock without a date"
    start = datetime.fromtimestamp(recording.start_s, UTC)
    end = datetime.fromtimestamp(recording.start_s + recording.duration_s, UTC)
    return f"{start:%Y-%m-%d %H:%M:%S} to {end:%H:%M:%S} UTC"


def _plain(via: str) -> str:
    return via.replace("_", " ")
