"""One walk over the message headers of a FIT part: which layout lies where. No value is decoded here.

A data message's header names a local number, the last definition of that number gives its size, and the next header
follows. Two shortcuts keep this fast, and both are exact: when the byte one message further on is the same header, it
is the same message again, so runs are found by slicing with the message's size; the same holds for two messages that
alternate.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

DEFINITION, DEVELOPER, COMPRESSED = 0x40, 0x20, 0x80
FIRST_LOOK, LONGEST_LOOK = 16, 4096  # messages looked at in one slice; the look grows while the run goes on
# Turns of the loop below, measured at 1.1 microseconds each: the ceiling of 5 s of parsing per file.
# A four-hour ride needs 500 to 5,000; crossing it is a refusal, not a wait.
MAX_TURNS = 3_000_000

Field = tuple[int, int, int]  # number, size in bytes, base type


@dataclass(eq=False)
class Layout:
    """All messages of one shape: fields in order, then developer fields (number, size, developer index)."""

    message: int
    big_endian: bool
    fields: tuple[Field, ...]
    developer: tuple[Field, ...]
    size: int  # with the header byte
    starts: list[int] = field(default_factory=list)
    counts: list[int] = field(default_factory=list)
    strides: list[int] = field(default_factory=list)

    def positions(self) -> np.ndarray:
        """Byte offset of every message of this layout, ascending."""
        counts = np.array(self.counts, dtype=np.int64)
        if not counts.size:
            return np.zeros(0, dtype=np.int64)
        rank = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
        found = np.repeat(np.array(self.starts), counts) + rank * np.repeat(np.array(self.strides), counts)
        # Two alternating headers may stand for one layout (compressed stamps); their runs then interleave.
        return np.sort(found) if (np.diff(found) < 0).any() else found


@dataclass(frozen=True, kw_only=True)
class Walk:
    """Layouts found in [start, reached); `problem` is "" when the walk ended where the part ends, else
    "cut" (a message goes beyond the end), "lost" (a header that nothing defines) or "long" (MAX_TURNS crossed)."""

    layouts: tuple[Layout, ...]
    reached: int
    problem: str = ""


def walk(data: bytes, start: int, end: int, shapes: dict[tuple, Layout], local: dict[int, Layout]) -> Walk:
    """Walk bytes [start, end) of the file; new layouts go into `shapes`, what each header means into `local`."""
    position = start
    problem = ""
    for _ in range(MAX_TURNS):
        if position >= end:
            break
        header = data[position]
        layout = local.get(header)
        if layout is None:
            if header & COMPRESSED:
                layout = local.get(header >> 5 & 0x3)
            elif not header & DEFINITION:
                layout = local.get(header & 0x0F)
            else:
                after = _define(data, position, end, header, local, shapes)
                if after is None:
                    problem = "cut"
                    break
                position = after
                continue
            if layout is None:
                problem = "lost"
                break
            local[header] = layout
        size = layout.size
        following = position + size
        if following > end:
            problem = "cut"
            break
        count, stride = 1, size
        if following < end:
            second = data[following]
            if second == header:
                count = _run(data, position, end, header, size)
            else:
                partner = local.get(second)
                stride = size + partner.size if partner is not None else 0
                if stride and position + 2 * stride <= end and data[position + stride] == header:
                    count = min(_run(data, position, end, header, stride), _run(data, following, end, second, stride))
                    count = min(count, (end - position) // stride)
                    partner.starts.append(following)
                    partner.counts.append(count)
                    partner.strides.append(stride)
                else:
                    stride = size
        layout.starts.append(position)
        layout.counts.append(count)
        layout.strides.append(stride)
        position += count * stride
    else:
        problem = "long"
    return Walk(layouts=tuple(shapes.values()), reached=min(position, end), problem=problem)


def _run(data: bytes, position: int, end: int, header: int, stride: int) -> int:
    """How many times `header` stands at position, position + stride, ...; whole strides before `end` only."""
    most = (end - position) // stride
    same = bytes((header,))
    count, look = 0, FIRST_LOOK
    while count < most:
        at = position + count * stride
        seen = data[at : min(at + look * stride, position + most * stride) : stride]
        equal = len(seen) - len(seen.lstrip(same))
        count += equal
        if equal < len(seen):
            break
        look = min(4 * look, LONGEST_LOOK)
    return count


def _define(data: bytes, position: int, end: int, header: int, local: dict[int, Layout], shapes: dict) -> int | None:
    """Take a definition message into `local`; give the offset after it, None when it goes beyond the end."""
    at = position + 6
    if at > end:
        return None
    big = bool(data[position + 2])
    message = int.from_bytes(data[position + 3 : position + 5], "big" if big else "little")
    body = data[at : at + 3 * data[position + 5]]
    at += 3 * data[position + 5]
    extra = b""
    if header & DEVELOPER:
        if at >= end:
            return None
        extra = data[at + 1 : at + 1 + 3 * data[at]]
        at += 1 + 3 * data[at]
    if at > end:
        return None
    key = (message, big, body, extra)
    layout = shapes.get(key)
    if layout is None:
        fields = tuple(zip(body[0::3], body[1::3], body[2::3], strict=True))
        developer = tuple(zip(extra[0::3], extra[1::3], extra[2::3], strict=True))
        size = 1 + sum(body[1::3]) + sum(extra[1::3])
        layout = shapes[key] = Layout(message, big, fields, developer, size)
    number = header & 0x0F
    for known in [h for h in local if (h >> 5 & 0x3 if h & COMPRESSED else h & 0x0F) == number]:
        del local[known]
    local[number] = layout
    return at
