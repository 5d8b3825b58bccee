"""A FIT part whose structure breaks, as when a block of memory was lost: find where the samples go on.

A place counts as found when, read with the layouts known at the break, many messages follow each other there and the
stamps of the samples among them go on from the last sound one. What the walk read between the break and that place was
never a message and is forgotten.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.reading.fit_profile import TIMESTAMP, base_of
from analysis.reading.fit_walk import COMPRESSED, DEFINITION, Layout, Walk, walk

AGREE = 16  # samples in order that make a place sound
SET_CLOCK = 64  # samples in order after a jump of the stamps that make it a clock that was set
MAX_STEP_S, MAX_HOLE_S = 30, 86400  # between neighbouring samples; from the last sound one to the first found again
MAX_TRIES = 25  # places taken up, those that led nowhere included
ORDINARY_REST = 512  # bytes after a cut message that are no sign of damage
MAX_RUNS, MAX_MESSAGES = 200_000, 2_000_000  # beyond them mending would take more than seconds; real files have a tenth
MIN_FIELDS = 3  # of a definition that is recognised by its bytes: 15 or more
MAX_BREAKS = 5  # more are not a lost block but a file damaged throughout
REACH = 8 * 2**20  # bytes searched after a break, and
MAX_TRIALS = 500  # places tried: both bound the time that a hostile file can take
NO_STAMP = 0xFFFFFFFF


@dataclass(frozen=True, kw_only=True)
class Break:
    """Bytes [at, resumed) hold nothing sound."""

    at: int
    resumed: int


def walk_on(data: bytes, start: int, end: int) -> tuple[Walk, tuple[Break, ...]]:
    """Walk a part whose checksum does not vouch for it, past at most MAX_BREAKS breaks.

    A break is a header that nothing defines, or stamps that jump: misread bytes need not contradict the structure. The
    walk's problem is that of its last stretch.
    """
    shapes: dict[tuple, Layout] = {}
    found = walk(data, start, end, shapes, {})
    breaks: list[Break] = []
    for _ in range(MAX_TRIES):
        n_runs = sum(len(layout.starts) for layout in found.layouts)
        n_messages = sum(sum(layout.counts) for layout in found.layouts)
        if n_runs > MAX_RUNS or n_messages > MAX_MESSAGES:
            break
        at, stamp = _sound_until(data, found, end)
        if at is None:
            break
        tried = breaks[-1].resumed if breaks else 0
        if at <= tried:  # the last place led nowhere: look further on
            at = breaks.pop().at
        again = _find_again(data, max(at, tried), end, stamp, _local_table(data, found.layouts, at), found.layouts)
        _forget_from(found.layouts, at)
        if again is None or len(breaks) == MAX_BREAKS:
            return Walk(layouts=found.layouts, reached=at, problem="lost"), tuple(breaks)
        breaks.append(Break(at=at, resumed=again))
        found = walk(data, again, end, shapes, _local_table(data, found.layouts, at))
    return found, tuple(breaks)


def _jumps(stamps: np.ndarray) -> np.ndarray:
    """Indices i where stamp i + 1 does not follow stamp i and nothing speaks for a clock that was set.

    A clock that was set jumps forward and goes on in order for long; misread bytes do not.
    """
    step = np.diff(stamps)
    found = np.flatnonzero(np.abs(step) > MAX_HOLE_S)
    kept = [i for i in found[:MAX_TRIALS].tolist() if step[i] < 0 or not _in_order(stamps[i + 1 : i + 1 + SET_CLOCK], SET_CLOCK)]
    return np.array(kept, dtype=np.int64)


def _in_order(stamps: np.ndarray, n: int) -> bool:
    """Whether these are n stamps that rise as a recorder's do: small steps, half a second each or more on average."""
    step = np.diff(stamps)
    return len(stamps) == n and bool(((step >= 0) & (step <= MAX_STEP_S)).all()) and step.sum() >= n // 2


def _sound_until(data: bytes, found: Walk, end: int) -> tuple[int | None, int]:
    """End of what is sound before the first sign of damage, and the last stamp in it; None where there is no sign of any.

    The stamps of all messages are looked at, for samples may be misread as something else.
    """
    buffer = np.frombuffer(data, dtype=np.uint8)
    starts, stamps = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
    for layout in found.layouts:
        offset = _stamp_offset(layout)
        if offset is not None and layout.starts:
            starts.append(layout.positions())
            stamps.append(_stamps_at(buffer, starts[-1] + offset, layout.big_endian))
    position, stamp = np.concatenate(starts), np.concatenate(stamps)
    order = np.argsort(position)
    order = order[stamp[order] != NO_STAMP]
    position, stamp = position[order], stamp[order]
    jump = _jumps(stamp)
    # A message that goes beyond the end is an ordinary end, unless much of the file is still to come.
    broken = found.problem == "lost" or (found.problem == "cut" and end - found.reached > ORDINARY_REST)
    if not jump.size and not broken:
        return None, 0
    last = int(jump[0]) if jump.size else len(stamp) - 1
    if last < 1:
        return None, 0
    # The last message may itself be cut in two by the damage; the one before it is whole.
    return int(position[last]), int(stamp[last - 1])


def _find_again(
    data: bytes, at: int, end: int, last_stamp: int, local: dict[int, Layout], layouts: tuple[Layout, ...]
) -> int | None:
    """First byte after `at` from which the structure is sound again; None when there is none within reach.

    Either a definition that the file already held stands there once more, or messages follow each other as the headers
    were defined at the break, with AGREE stamps in order.
    """
    end = min(end, at + REACH)
    defined = _next_definition(data, at, end, layouts)
    buffer = np.frombuffer(data, dtype=np.uint8)
    places = [np.zeros(0, np.int64)]
    shared = _shared_headers(data, at, layouts)
    for header, layout in local.items():
        offset = _stamp_offset(layout)
        if offset is None or header in shared:
            continue
        found = np.flatnonzero(buffer[at + 1 : max(defined - layout.size, at + 1)] == header) + at + 1
        stamps = _stamps_at(buffer, found + offset, layout.big_endian)
        places.append(found[(stamps >= last_stamp) & (stamps <= last_stamp + MAX_HOLE_S) & (stamps != NO_STAMP)])
    for place in np.sort(np.concatenate(places))[:MAX_TRIALS].tolist():
        if _agrees(data, place, end, local):
            return place
    return defined if defined < end else None


def _shared_headers(data: bytes, at: int, layouts: tuple[Layout, ...]) -> set[int]:
    """Headers that stood for different messages before byte `at`: only a definition tells which one comes next."""
    meant: dict[int, set[int]] = {}
    for layout in layouts:
        for header in {data[start] for start in layout.starts if start < at}:
            meant.setdefault(header, set()).add(layout.message)
    return {header for header, messages in meant.items() if len(messages) > 1}


def _next_definition(data: bytes, at: int, end: int, layouts: tuple[Layout, ...]) -> int:
    """Where a known definition, long enough not to occur by chance, stands next; `end` when none does."""
    nearest = end
    for layout in layouts:
        if len(layout.fields) < MIN_FIELDS or not any(start < at for start in layout.starts):
            continue
        order = "big" if layout.big_endian else "little"
        text = bytes([0, layout.big_endian]) + layout.message.to_bytes(2, order) + bytes([len(layout.fields)])
        text += b"".join(bytes(field) for field in layout.fields)
        if layout.developer:
            text += bytes([len(layout.developer)]) + b"".join(bytes(field) for field in layout.developer)
        place = data.find(text, at + 2, nearest)
        if place > 0 and data[place - 1] & (COMPRESSED | DEFINITION) == DEFINITION:
            nearest = place - 1
    return nearest


def _agrees(data: bytes, place: int, end: int, local: dict[int, Layout]) -> bool:
    """Whether known messages follow each other from `place` on, with AGREE stamps in order."""
    stamps: list[int] = []
    while place < end and len(stamps) < AGREE:
        layout = local.get(data[place])
        if layout is None or place + layout.size > end:
            return False
        offset = _stamp_offset(layout)
        if offset is not None:
            at = place + offset
            stamp = int.from_bytes(data[at : at + 4], "big" if layout.big_endian else "little")
            if stamps and not 0 <= stamp - stamps[-1] <= MAX_STEP_S:
                return False
            stamps.append(stamp)
        place += layout.size
    return _in_order(np.array(stamps), AGREE)


def _stamps_at(buffer: np.ndarray, positions: np.ndarray, big_endian: bool) -> np.ndarray:
    """The four bytes at every position as a number."""
    raw = buffer[positions[:, None] + np.arange(4)]
    return raw.view(">u4" if big_endian else "<u4")[:, 0].astype(np.int64)


def _stamp_offset(layout: Layout) -> int | None:
    """Where in the message its full stamp stands."""
    at = 1
    for number, size, code in layout.fields:
        if number == TIMESTAMP and size == 4 and base_of(code).letter == "u4":
            return at
        at += size
    return None


def _forget_from(layouts: tuple[Layout, ...], at: int) -> None:
    """Drop every message that starts at or after byte `at`; a run that crosses it is cut."""
    for layout in layouts:
        kept = [i for i, start in enumerate(layout.starts) if start < at]
        layout.counts[:] = [min(layout.counts[i], -(-(at - layout.starts[i]) // layout.strides[i])) for i in kept]
        layout.starts[:], layout.strides[:] = [layout.starts[i] for i in kept], [layout.strides[i] for i in kept]


def _local_table(data: bytes, layouts: tuple[Layout, ...], at: int) -> dict[int, Layout]:
    """Header -> layout as it stood at byte `at`: of two that used one header, the later."""
    used = []
    for layout in layouts:
        before = [start for start in layout.starts if start < at]
        if before:
            used.append((before[-1], layout))
    return {data[start]: layout for start, layout in sorted(used, key=lambda pair: pair[0])}
