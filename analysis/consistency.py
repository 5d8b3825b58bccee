"""Shifts of three and more recordings that fit together: A to B plus B to C is A to C, within the errors.

To first order a recording's own noise enters every pair that it is in, so further pairs add no precision: they show
mistakes, carry a recording that matches another better than the reference, and make the shifts of one ride agree.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.aligning import Alignment, align, align_pairs, reference_alignment
from analysis.candidates import AVERAGED, MAX_SE_S, MIN_CORRELATION, MIN_MARGIN, SHARED, VIA
from analysis.errors import NotOneRide
from analysis.grids import Grid, gridded
from analysis.matching import best_match
from analysis.reading.recording import Recording
from analysis.refining import overlapping, refine

# A triangle is broken when it misses by more than this and more than three standard errors. [s]
MIN_GAP_S = 0.3
GAP_SIGMA = 3.0


@dataclass(frozen=True, kw_only=True)
class Clocked:
    """One recording that is to be put on the reference's clock; `by_hand_s` where the reviewer set the shift."""

    label: str
    recording: Recording
    by_hand_s: float | None = None


@dataclass(frozen=True, kw_only=True)
class _Link:
    """Shift of device `a` against device `b`, found from the two alone. Indices into the alignments. [s]"""

    a: int
    b: int
    shift_s: float
    se_s: float


class _Grids:
    """Every channel put on a grid once, though it is matched with several others."""

    def __init__(self, clocked: Sequence[Clocked]) -> None:
        self._recordings = [c.recording for c in clocked]
        self._made: dict[tuple[int, str], Grid] = {}

    def pairs(self, i: int, j: int) -> dict[str, tuple[Grid, Grid]]:
        both = [c for c in (*SHARED, "power_w") if all(c in self._recordings[k].channels for k in (i, j))]
        return {c: (self._one(i, c), self._one(j, c)) for c in both}

    def _one(self, i: int, channel: str) -> Grid:
        if (i, channel) not in self._made:
            self._made[i, channel] = gridded(self._recordings[i], channel)
        return self._made[i, channel]


def align_all(
    clocked: Sequence[Clocked], *, progress: Callable[[str, int], None] = lambda label, i: None
) -> tuple[tuple[Alignment, ...], tuple[str, ...]]:
    """Every recording on the clock of the first, and a sentence for each pair that does not fit the others.

    Raises
    ------
    NotOneRide
        A recording shares no time with the first and no signal shows that its clock was wrong.
    """
    first, grids, found = clocked[0], _Grids(clocked), []
    for i, one in enumerate(clocked):
        progress(one.label, i)
        found.append(
            align_pairs(grids.pairs(i, 0), one.recording, first.recording, label=one.label, by_hand_s=one.by_hand_s)
            if i
            else reference_alignment(first.recording, label=first.label)
        )
    found = [a if a.settled else _through_another(i, found, clocked) for i, a in enumerate(found)]
    free = [i for i, a in enumerate(found) if i and _may_move(a)]
    links = [link for i, j in itertools.combinations(free, 2) if (link := _link(i, j, found, clocked, grids)) is not None]
    broken = [link for link in links if _gap(link, found)[0] > _gap(link, found)[1]]
    sound = [link for link in links if link not in broken]
    return tuple(_solved(found, free, sound)), tuple(_told(link, found, clocked[0].label) for link in broken)


def _may_move(alignment: Alignment) -> bool:
    return alignment.settled and alignment.via not in ("manual", "power", "clock") and not alignment.pieces


def _through_another(i: int, found: Sequence[Alignment], clocked: Sequence[Clocked]) -> Alignment:
    """A recording that cannot be matched with the reference, by way of the settled one that it matches best."""
    ways = []
    for k, other in enumerate(found):
        if k in (0, i) or not _may_move(other) or other.drift_applied:
            continue
        try:
            link = align(clocked[i].recording, clocked[k].recording, label=clocked[i].label)
        except NotOneRide:
            continue
        if _may_move(link):
            ways.append((link.shift_se_s, link, other))
    if not ways:
        return found[i]
    _, link, other = min(ways, key=lambda way: way[0])
    return replace(
        link,
        shift_s=link.shift_s + other.shift_s,
        shift_se_s=float(np.hypot(link.shift_se_s, other.shift_se_s)),
        note=f"It shares no clear signal with the reference; its clock was set by way of {other.label}. {link.note}".strip(),
        candidates=found[i].candidates,
        clock_shift_s=found[i].clock_shift_s,
        pattern_shift_s=None,
    )


def _link(
    i: int, j: int, found: Sequence[Alignment], clocked: Sequence[Clocked], grids: _Grids
) -> _Link | None:
    """The pair's own word: refined where the others put it, sought everywhere only if it does not match there."""
    pairs = grids.pairs(i, j)
    channel = next((c for c in pairs if VIA[c] == found[i].via), None)
    if channel is None or channel == "power_w":
        return None
    a, b = pairs[channel]
    offset = b.start_s - a.start_s
    near = refine(overlapping(a.value, b.value, round(found[i].shift_s - found[j].shift_s - offset)))
    if near is None or near.correlation < MIN_CORRELATION:
        near = best_match(a.value, b.value)
        if near is None or near.correlation < MIN_CORRELATION or near.margin < MIN_MARGIN:
            return None
    if near.lag_se > MAX_SE_S:
        return None
    periods = (clocked[k].recording.interval_s for k in (i, j))
    stamping = abs(float(np.subtract(*periods))) / 2 / np.sqrt(3) if channel in AVERAGED else 0.0
    return _Link(a=i, b=j, shift_s=near.lag + offset, se_s=float(np.hypot(near.lag_se, stamping)))


def _gap(link: _Link, found: Sequence[Alignment]) -> tuple[float, float]:
    """How far the triangle misses, and how far it may. [s]"""
    a, b = found[link.a], found[link.b]
    drift = abs(a.drift_ppm * a.drift_applied - b.drift_ppm * b.drift_applied) * 1e-6 * abs(a.pivot_s - b.pivot_s)
    error = float(np.sqrt(link.se_s**2 + a.shift_se_s**2 + b.shift_se_s**2))
    return abs(link.shift_s - (a.shift_s - b.shift_s)), max(MIN_GAP_S, GAP_SIGMA * error) + drift


def _solved(found: Sequence[Alignment], free: Sequence[int], links: Sequence[_Link]) -> list[Alignment]:
    """Least squares over the direct shifts and the links, each weighed by its error; stated errors stay the direct ones."""
    if not links:
        return list(found)
    place = {i: k for k, i in enumerate(free)}
    rows, values, weights = [], [], []
    for i in free:
        row = np.zeros(len(free))
        row[place[i]] = 1.0
        rows.append(row)
        values.append(found[i].shift_s)
        weights.append(1 / found[i].shift_se_s)
    for link in links:
        row = np.zeros(len(free))
        row[place[link.a]], row[place[link.b]] = 1.0, -1.0
        rows.append(row)
        values.append(link.shift_s)
        weights.append(1 / link.se_s)
    weight = np.array(weights)
    shifts = np.linalg.lstsq(np.array(rows) * weight[:, None], np.array(values) * weight, rcond=None)[0]
    return [replace(a, shift_s=float(shifts[place[i]])) if i in place else a for i, a in enumerate(found)]


def _told(link: _Link, found: Sequence[Alignment], reference: str) -> str:
    a, b = found[link.a], found[link.b]
    return (
        f"The clocks of {a.label}, {b.label} and {reference} do not fit together: {a.label} against {b.label} is "
        f"{link.shift_s:.2f} s by their own signals, but {a.shift_s - b.shift_s:.2f} s by way of {reference}; "
        "check these on the overlay and set the wrong one by hand."
    )
