"""Field names, scales, enum names and base types, taken from the profile that `fitparse` ships (SDK 20.8)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from fitparse.profile import FIELD_TYPES, MESSAGE_TYPES

RECORD, FIELD_DESCRIPTION = 20, 206
TIMESTAMP = 253  # field number in every message


@dataclass(frozen=True)
class Base:
    """One base type: numpy letter and size, and the value that stands for "not recorded" (None: not a number)."""

    letter: str
    size: int
    invalid: int | None


# Key: low five bits of the base type byte; "z" types use zero for "not recorded". Protocol constants, the same table as
# fitparse.records.BASE_TYPES, with which a test compares it.
BASES = {
    0x00: Base("u1", 1, 0xFF),
    0x01: Base("i1", 1, 0x7F),
    0x02: Base("u1", 1, 0xFF),
    0x03: Base("i2", 2, 0x7FFF),
    0x04: Base("u2", 2, 0xFFFF),
    0x05: Base("i4", 4, 0x7FFFFFFF),
    0x06: Base("u4", 4, 0xFFFFFFFF),
    0x07: Base("S", 1, None),
    0x08: Base("f4", 4, None),
    0x09: Base("f8", 8, None),
    0x0A: Base("u1", 1, 0),
    0x0B: Base("u2", 2, 0),
    0x0C: Base("u4", 4, 0),
    0x0D: Base("V", 1, None),
    0x0E: Base("i8", 8, 0x7FFFFFFFFFFFFFFF),
    0x0F: Base("u8", 8, 0xFFFFFFFFFFFFFFFF),
    0x10: Base("u8", 8, 0),
}
UNKNOWN_BASE = BASES[0x0D]


def base_of(code: int) -> Base:
    """Base type of a definition's type byte; unknown types are bytes."""
    return BASES.get(code & 0x1F, UNKNOWN_BASE)


@dataclass(frozen=True)
class Known:
    """A profile field: name, and value = raw / scale - offset."""

    name: str
    scale: float
    offset: float


@cache
def fields_of(message: int) -> dict[int, Known]:
    """Profile fields of a message by number; empty for messages that the profile does not know."""
    known = MESSAGE_TYPES.get(message)
    if known is None:
        return {}
    return {n: Known(f.name, float(f.scale or 0), float(f.offset or 0)) for n, f in known.fields.items()}


@cache
def message_number(name: str) -> int:
    """Global number of a message by its profile name."""
    return next(n for n, m in MESSAGE_TYPES.items() if m.name == name)


def enum_name(kind: str, value: object) -> str | None:
    """The profile's word for a number of an enum type; None where it has none."""
    return FIELD_TYPES[kind].values.get(value) if isinstance(value, (int, np.integer)) else None
