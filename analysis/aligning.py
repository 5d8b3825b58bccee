"""Put every recording on the reference's clock: shift in seconds, its standard error, drift in ppm, and by what signal.

A shift is what must be added to a recording's own stamps. Where both recordings carry a signal from a shared source, the
shift comes from that signal and what remains of the power's delay is the response lag; with power alone the two
cannot be told apart. An ambiguous match is never settled.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from analysis.candidates import (
    MIN_CORRELATION,
    SHARED,
    Candidate,
    Choice,
    Found,
    choose,
    correlation_at,
    find,
    mark_used,
    plain,
    rated,
)
from analysis.candidates import pattern_shift as shift_by_pattern
from analysis.clock_pieces import GridPiece, find_pieces
from analysis.errors import NotOneRide
from analysis.grids import Grid, gridded
from analysis.reading.recording import Recording
from analysis.traces import Floats

# Recordings whose clocks do not overlap at all must match far better before they are believed to be one ride.
STRANGER_CORRELATION = 0.9
STRANGER_MARGIN = 50.0
STRANGER_OVERLAP_FRAC = 0.5
STRANGER_LAG_S = 10  # a device that answers later than this is not one that anybody sells; common practice, no source
# A shift by hand this far from what the signals say is remarked on. [s]
HAND_DIFFERS_S = 0.3
# Recorders whose intervals differ by more than this may stamp their means differently. [s]
INTERVALS_DIFFER_S = 0.1

Pairs = Mapping[str, tuple[Grid, Grid]]


@dataclass(frozen=True, kw_only=True)
class Piece:
    """A stretch of a recording whose clock stood or leapt elsewhere: own stamps [start_s, end_s) have their own shift."""

    start_s: float
    end_s: float
    shift_s: float
    shift_se_s: float


@dataclass(frozen=True, kw_only=True)
class Alignment:
    """One recording's clock against the reference's.

    `reference time = own time + shift_s + drift_ppm * 1e-6 * (own time - pivot_s)` where the drift is applied, else
    without its last term; `pivot_s` is the middle of the recording on its own clock, so that `shift_s` is the mean shift.
    With `pieces`, each stretch has its own shift instead and `shift_s` is the longest one's.
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
    drift_ci_ppm: tuple[float, float] | None = None
    pattern_shift_s: float | None = None
    clock_shift_s: float | None = None
    pieces: tuple[Piece, ...] = ()

    def to_reference(self, time_s: Floats) -> Floats:
        """Own stamps to the reference's clock; NaN for those that it has no time for. [s]"""
        drift = self.drift_ppm * 1e-6 if self.drift_applied else 0.0
        shift: Floats | float = self.shift_s
        if self.pieces:
            shift = np.full(np.shape(time_s), np.nan)
            for piece in self.pieces:
                shift = np.where((time_s >= piece.start_s) & (time_s < piece.end_s), piece.shift_s, shift)
        return time_s + shift + drift * (time_s - self.pivot_s)


def align(recording: Recording, reference: Recording, *, label: str, by_hand_s: float | None = None) -> Alignment:
    """Find the shift of one recording against the reference.

    Raises
    ------
    NotOneRide
        The clocks share no time and no signal matches well enough to believe in a wrong clock.
    """
    return align_pairs(pairs_of(recording, reference), recording, reference, label=label, by_hand_s=by_hand_s)


def pairs_of(recording: Recording, reference: Recording) -> Pairs:
    """The channels that can be matched, on grids."""
    both = [c for c in (*SHARED, "power_w") if c in recording.channels and c in reference.channels]
    return {c: (gridded(recording, c), gridded(reference, c)) for c in both}


def align_pairs(
    pairs: Pairs, recording: Recording, reference: Recording, *, label: str, by_hand_s: float | None = None
) -> Alignment:
    """`align` on channels that are on grids already."""
    pattern = shift_by_pattern(pairs)
    periods = recording.interval_s, reference.interval_s
    found = [f for f in (find(c, *p, near_s=pattern, periods_s=periods) for c, p in pairs.items()) if f is not None]
    overlap = _clock_overlap_s(recording, reference)
    if overlap <= 0:
        found = [f for f in found if _believable(f.candidate, recording, reference) and _one_effort(pairs, f.candidate)]
    found = rated(found, pairs)
    choice = choose(found)
    plain_one = _blank(recording, reference, label, pattern)
    if by_hand_s is not None:
        return _by_hand(by_hand_s, plain_one, pairs, found, choice)
    stretched = _stretched(pairs, found, choice)
    if stretched is not None and stretched.pieces:
        return _in_pieces(stretched, plain_one, found, pairs)
    if choice is None:
        return _unsettled(recording, reference, plain_one, found, overlap)
    settled = _settled(choice, plain_one, found, recording, reference)
    if stretched is None or stretched.unconfirmed is None:
        return settled
    first, last = stretched.unconfirmed
    doubt = f"Nothing in its {'first' if first == 0 else 'last'} {(last - first) / 60:.0f} min confirms this shift."
    return replace(settled, note=f"{settled.note} {doubt}".strip())


def reference_alignment(reference: Recording, *, label: str) -> Alignment:
    """The reference against itself: shift zero by definition."""
    return replace(
        _blank(reference, reference, label, None),
        shift_se_s=0.0, drift_se_ppm=0.0, pivot_s=reference.start_s, correlation=1.0, settled=True,
        note="The reference's own clock.",
    )  # fmt: skip


def _blank(recording: Recording, reference: Recording, label: str, pattern_s: float | None) -> Alignment:
    """What the clocks alone say: an alignment without evidence."""
    return Alignment(
        label=label, shift_s=0.0, shift_se_s=None, drift_ppm=0.0, drift_se_ppm=None, drift_applied=False,
        pivot_s=recording.start_s + recording.duration_s / 2, via="clock", correlation=None, settled=False, note="",
        pattern_shift_s=pattern_s,
        clock_shift_s=0.0 if recording.absolute_clock and reference.absolute_clock else None,
    )  # fmt: skip


def _settled(
    choice: Choice, blank: Alignment, found: Sequence[Found], recording: Recording, reference: Recording
) -> Alignment:
    best = choice.used[0]
    rate = best.rate
    notes = [choice.note]
    if best.channel == "power_w":
        notes.append("Only power could be matched, so this shift holds the response lag as well; the two cannot be told apart.")
    notes.append(_about_intervals(recording, reference, choice))
    return replace(
        blank,
        shift_s=choice.shift_s,
        shift_se_s=choice.shift_se_s,
        drift_ppm=rate.ppm if rate else 0.0,
        drift_se_ppm=rate.ppm_se if rate else None,
        drift_ci_ppm=rate.ppm_ci if rate else None,
        drift_applied=rate is not None and rate.certain,
        via=best.candidate.via,
        correlation=best.candidate.correlation,
        settled=True,
        note=" ".join(filter(None, notes)),
        candidates=mark_used(found, choice.used),
    )


def _about_intervals(recording: Recording, reference: Recording, choice: Choice) -> str:
    ours, theirs = recording.interval_s, reference.interval_s
    if abs(ours - theirs) <= INTERVALS_DIFFER_S:
        return ""
    return (
        f"It records every {ours:g} s, the reference every {theirs:g} s; where readings are means of such periods, "
        f"up to {abs(ours - theirs) / 2:.1f} s of a shift or lag may be due to that alone."
    )


def _by_hand(shift_s: float, blank: Alignment, pairs: Pairs, found: Sequence[Found], choice: Choice | None) -> Alignment:
    note = "The shift was set by hand."
    if choice is None:
        note += " The signals do not settle it."
    else:
        found_s = f"{choice.shift_s:.2f} s ± {1.96 * choice.shift_se_s:.2f} s from {plain(choice.used[0].candidate.via)}"
        gap = shift_s - choice.shift_s
        note += f" The signals say {found_s}" + (
            f"; by hand it is {abs(gap):.1f} s {'more' if gap > 0 else 'less'}." if abs(gap) > HAND_DIFFERS_S else "."
        )
    return replace(
        blank,
        shift_s=shift_s,
        via="manual",
        correlation=correlation_at(*pairs["power_w"], shift_s) if "power_w" in pairs else None,
        settled=True,
        note=note,
        candidates=mark_used(found, ()),
    )


@dataclass(frozen=True, kw_only=True)
class _Stretched:
    """Stretches of the signal that shows them best; `pieces` is empty where one shift serves."""

    by: Found
    pieces: tuple[GridPiece, ...]
    unconfirmed: tuple[int, int] | None


def _stretched(pairs: Pairs, found: Sequence[Found], choice: Choice | None) -> _Stretched | None:
    shifts = {s for f in found for s in (f.candidate.shift_s, *f.candidate.rival_shifts_s)}
    sure = choice is not None and choice.used[0].channel != "power_w"
    first = None
    for one in (choice.used[0],) if sure else sorted(found, key=_by_trust):
        device, reference = pairs[one.channel]
        proposed = {round(s - reference.start_s + device.start_s) for s in shifts}
        settled = one.candidate.settled
        got = find_pieces(device.value, reference.value, one.match, settled=settled, proposed=sorted(proposed))
        if got.pieces:
            return _Stretched(by=one, pieces=got.pieces, unconfirmed=None)
        first = first or _Stretched(by=one, pieces=(), unconfirmed=got.unconfirmed)
    return first


def _by_trust(found: Found) -> tuple[bool, float]:
    return found.channel == "power_w", -found.candidate.correlation


def _in_pieces(stretched: _Stretched, blank: Alignment, found: Sequence[Found], pairs: Pairs) -> Alignment:
    parts, one = stretched.pieces, stretched.by
    device, reference = pairs[one.channel]
    offset = reference.start_s - device.start_s
    shifts = [p.lag + offset for p in parts]
    # a stretch begins only when the time of the one before it is over on the reference's clock as well
    ends = [device.start_s + p.last for p in parts[:-1]]
    starts = [max(device.start_s + p.first, end + before - own)
              for p, end, before, own in zip(parts[1:], ends, shifts, shifts[1:], strict=False)]  # fmt: skip
    stretches = tuple(
        Piece(start_s=start, end_s=end, shift_s=shift, shift_se_s=p.lag_se)
        for p, shift, start, end in zip(parts, shifts, [-np.inf, *starts], [*ends, np.inf], strict=True)
    )
    longest = max(range(len(parts)), key=lambda i: parts[i].last - parts[i].first)
    steps = [b.shift_s - a.shift_s for a, b in itertools.pairwise(stretches)]
    words = " and ".join(f"{'stood still for' if s > 0 else 'leapt ahead by'} {abs(s):.1f} s" for s in steps)
    note = f"Against the reference's, its clock {words}; each stretch was given a shift of its own."
    if one.channel == "power_w":
        note += " Only power could be matched, so these shifts hold the response lag as well."
    return replace(
        blank,
        shift_s=stretches[longest].shift_s,
        shift_se_s=stretches[longest].shift_se_s,
        via=one.candidate.via,
        correlation=parts[longest].correlation,
        settled=True,
        note=note,
        candidates=mark_used(found, (one,)),
        pieces=stretches,
    )


def _one_effort(pairs: Pairs, candidate: Candidate) -> bool:
    """Whether the powers go together there, too: altitude that climbs with the weather matches itself an hour on."""
    late = range(-STRANGER_LAG_S, STRANGER_LAG_S + 1)
    seen = [correlation_at(*pairs["power_w"], candidate.shift_s + s) for s in late] if "power_w" in pairs else [1.0]
    return max((c for c in seen if c is not None), default=0.0) >= MIN_CORRELATION


def _believable(candidate: Candidate, recording: Recording, reference: Recording) -> bool:
    enough = STRANGER_OVERLAP_FRAC * min(recording.duration_s, reference.duration_s)
    return candidate.correlation >= STRANGER_CORRELATION and candidate.margin >= STRANGER_MARGIN and candidate.overlap_s >= enough


def _unsettled(
    recording: Recording, reference: Recording, blank: Alignment, found: Sequence[Found], overlap_s: float
) -> Alignment:
    """Nothing sure: the clocks' own word, or of several peaks the one they favour, as a proposal and not as a fact."""
    if overlap_s <= 0:
        raise NotOneRide(
            f"{recording.name} and {reference.name} share no time ({_span(recording)} against {_span(reference)}) and no signal "
            "in them matches; leave one out, or give shift_s by hand if a clock was wrong."
        )
    candidates = mark_used(found, ())
    near = [c for c in candidates if c.correlation >= MIN_CORRELATION]
    if not near:
        note = (
            "No signal in the two recordings matches; their own clocks are taken as they are. "
            "Check the overlay and set the shift by hand."
        )
        return replace(blank, note=note, candidates=candidates)
    shift, best = min(((s, c) for c in near for s in (c.shift_s, *c.rival_shifts_s)), key=lambda pair: abs(pair[0]))
    note = "The match is ambiguous: several shifts fit about equally well. Check the overlay and set the shift by hand."
    return replace(blank, shift_s=shift, via=best.via, correlation=best.correlation, note=note, candidates=candidates)


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
