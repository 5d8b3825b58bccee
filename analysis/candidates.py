"""What each shared signal says of a shift, and which of them are believed: combined where they agree, chosen where not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.clock_rate import ClockRate, clock_rate
from analysis.grids import Grid
from analysis.matching import Match, best_match
from analysis.sync_pattern import PATTERN_REACH_S, find_patterns, pattern_lag
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
# Signals that a recorder may average over its own period; heart rate and altitude are read off.
AVERAGED = ("cadence_rpm", "speed_mps", "power_w")
# A match is settled when it explains enough, leads the next peak by this log-likelihood (odds of e^8, about 3000 to
# one) and is sharp. Common practice, no source; the false-certainty tests guard them.
MIN_CORRELATION = 0.6
MIN_MARGIN = 8.0
MAX_SE_S = 0.5
# The recordings' own clocks as a prior: odds fall as 1 / (this + |shift|), so that ten minutes off need some 4 more in
# log-likelihood than a second off, and five hours 7.5. A choice, no source. [s]
PRIOR_SCALE_S = 10.0
# Two signals disagree when their shifts differ by more than this and three standard errors.
DISAGREE_S = 1.0
MAX_CURVE_POINTS = 121


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Picture of a match: shifts around the best one and the correlation at each; rounded for printing."""

    shift_s: tuple[float, ...]
    correlation: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """What one signal says of the shift. [s]

    margin : how peaked: lead in log-likelihood over the next peak, or over chance. rival_shifts_s : the other peaks.
    used : whether it went into the shift that was chosen.
    """

    via: str
    shift_s: float
    shift_se_s: float | None
    correlation: float | None
    margin: float | None
    rival_shift_s: float | None
    rival_shifts_s: tuple[float, ...] = ()
    settled: bool = False
    used: bool = False
    overlap_s: int = 0
    curve: Curve | None = None


@dataclass(frozen=True, kw_only=True)
class Found:
    """A candidate with the match and the clock rate behind it; for the alignment only, not for the result."""

    candidate: Candidate
    channel: str
    match: Match
    stamping_s: float
    rate: ClockRate | None = None


def pattern_shift(pairs: Mapping[str, tuple[Grid, Grid]]) -> float | None:
    """Rough shift by the sync pattern, from cadence or power; None where it was not ridden or not recorded twice. [s]"""
    for channel in ("power_w", "cadence_rpm"):
        if channel in pairs:
            device, reference = pairs[channel]
            lag = pattern_lag(find_patterns(device.value), find_patterns(reference.value))
            if lag is not None:
                return lag + reference.start_s - device.start_s
    return None


def find(channel: str, device: Grid, reference: Grid, *, near_s: float | None, periods_s: tuple[float, float]) -> Found | None:
    """What one channel says; None where it holds nothing to match.

    near_s : shift by the sync pattern, which peaks far from it must beat clearly.
    periods_s : sampling intervals of device and reference.
    """
    offset = reference.start_s - device.start_s
    near = None if near_s is None else (near_s - offset, PATTERN_REACH_S)
    match = best_match(device.value, reference.value, near=near, ready=(device.prepared, reference.prepared))
    if match is None:
        return None
    shift = match.lag + offset
    needed = MIN_MARGIN + float(np.log1p(abs(shift) / PRIOR_SCALE_S))
    settled = match.correlation >= MIN_CORRELATION and match.margin >= needed and match.lag_se <= MAX_SE_S
    # whether a recorder writes means of its period or last values is not known: up to half the difference of periods
    stamping = abs(periods_s[0] - periods_s[1]) / 2 / np.sqrt(3) if channel in AVERAGED else 0.0
    shift_se = float(np.hypot(match.lag_se, stamping))
    rivals = tuple(k + offset for k, _ in match.rivals)
    candidate = Candidate(
        via=VIA[channel], shift_s=shift, shift_se_s=shift_se, correlation=match.correlation, margin=match.margin,
        rival_shift_s=rivals[0] if rivals else None, rival_shifts_s=rivals, settled=settled, overlap_s=match.overlap_s,
        curve=_curve(match, offset),
    )  # fmt: skip
    return Found(candidate=candidate, channel=channel, match=match, stamping_s=stamping)


def rated(found: Sequence[Found], pairs: Mapping[str, tuple[Grid, Grid]]) -> list[Found]:
    """The same with the clock's rate by each settled signal, power's only where it stands alone.

    Where the rate is certain, the shift becomes that at the middle of the recording.
    """
    shared = any(f.candidate.settled and f.channel != "power_w" for f in found)
    return [
        _rated(f, *pairs[f.channel]) if f.candidate.settled and (f.channel != "power_w" or not shared) else f for f in found
    ]


def _rated(found: Found, device: Grid, reference: Grid) -> Found:
    rate = clock_rate(found.match.shared)
    if rate is None or not rate.certain:
        return replace(found, rate=rate)
    lag, lag_se = rate.lag_at(device.value.size / 2)
    shift_se = float(np.hypot(lag_se, found.stamping_s))
    candidate = replace(found.candidate, shift_s=lag + reference.start_s - device.start_s, shift_se_s=shift_se)
    return replace(found, rate=rate, candidate=candidate)


def _curve(match: Match, offset: float) -> Curve:
    lags, correlation = (v[:MAX_CURVE_POINTS] for v in match.curve)
    return Curve(
        shift_s=tuple(np.round(lags + offset, 3).tolist()),
        correlation=tuple(np.round(correlation, 3).tolist()),
    )


@dataclass(frozen=True, kw_only=True)
class Choice:
    """The shift that the evidence gives, its error, which candidates it rests on (the weightiest first), and a caution."""

    shift_s: float
    shift_se_s: float
    used: tuple[Found, ...]
    note: str


def choose(found: Sequence[Found]) -> Choice | None:
    """Inverse-variance mean of the shared signals that agree; power only where no shared one is settled."""
    settled = [f for f in found if f.candidate.settled]
    shared = sorted((f for f in settled if f.channel != "power_w"), key=lambda f: f.candidate.shift_se_s)
    if not shared:
        if not settled:
            return None
        alone = settled[0]
        return Choice(shift_s=alone.candidate.shift_s, shift_se_s=alone.candidate.shift_se_s, used=(alone,), note="")
    groups: list[list[Found]] = []
    for one in shared:
        home = next((g for g in groups if _agree(g[0].candidate, one.candidate)), None)
        groups.append([one]) if home is None else home.append(one)
    best = max(groups, key=_weight)
    shift, se = _combined([f.candidate for f in best])
    return Choice(shift_s=shift, shift_se_s=se, used=tuple(best), note=_conflict(best, groups))


def mark_used(found: Sequence[Found], used: Sequence[Found]) -> tuple[Candidate, ...]:
    """The candidates for the result, those that the shift rests on marked."""
    return tuple(replace(f.candidate, used=any(f is u for u in used)) for f in found)


def _agree(a: Candidate, b: Candidate) -> bool:
    gap = abs(a.shift_s - b.shift_s)
    return gap <= DISAGREE_S or gap <= 3 * float(np.hypot(a.shift_se_s, b.shift_se_s))


def _weight(group: Sequence[Found]) -> tuple[int, float]:
    """Two signals against one win; else the closer match."""
    return len(group), max(f.candidate.correlation for f in group)


def _combined(group: Sequence[Candidate]) -> tuple[float, float]:
    """Inverse-variance mean; its error grows with the scatter where that exceeds the stated errors (Birge's ratio)."""
    shift, variance = (np.array([getattr(c, k) for c in group]) for k in ("shift_s", "shift_se_s"))
    weight = 1 / variance**2
    mean = float(weight @ shift / weight.sum())
    ratio = float(weight @ (shift - mean) ** 2) / (len(group) - 1) if len(group) > 1 else 1.0
    return mean, float(np.sqrt(max(ratio, 1.0) / weight.sum()))


def _conflict(best: Sequence[Found], groups: Sequence[Sequence[Found]]) -> str:
    others = [g[0] for g in groups if g is not best]
    if not others:
        return ""
    trusted, doubted = best[0].candidate, others[0].candidate
    gap = abs(trusted.shift_s - doubted.shift_s)
    why = (
        f"because {len(best)} signals agree on it"
        if len(best) > 1
        else f"because it matches more closely (correlation {trusted.correlation:.2f} against {doubted.correlation:.2f})"
    )
    note = f"{plain(trusted.via)} and {plain(doubted.via)} disagree by {gap:.1f} s; {plain(trusted.via)} is used {why}."
    return note[0].upper() + note[1:]


def plain(via: str) -> str:
    """A signal's name in a sentence."""
    return via.replace("_", " ")


def correlation_at(device: Grid, reference: Grid, shift_s: float) -> float | None:
    """Correlation of two channels as they are at a shift, to the nearest second; None where nothing is shared."""
    lag = round(shift_s - (reference.start_s - device.start_s))
    first, last = max(0, -lag), min(device.value.size, reference.value.size - lag)
    if last - first < 3:
        return None
    a, b = device.value[first:last], reference.value[first + lag : last + lag]
    return _pearson(a, b)


def _pearson(a: Floats, b: Floats) -> float | None:
    there = np.isfinite(a) & np.isfinite(b)
    if there.sum() < 3 or a[there].std() == 0 or b[there].std() == 0:
        return None
    return float(np.corrcoef(a[there], b[there])[0, 1])
