"""Bytes of FIT fields as numbers in their units: base types, scales, and the fields that pack or roll over."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.reading.fit_profile import Base, Known

PACKED = "compressed_speed_distance"  # 12 bits of speed [1/100 m/s], 12 bits of distance [1/16 m] that roll over
ROLLING_WORK = "compressed_accumulated_power"  # the low 16 bits of accumulated_power


def typed(block: np.ndarray, offset: int, size: int, base: Base, big_endian: bool) -> np.ndarray:
    """Columns [offset, offset + size) of rows of bytes as numbers of one base type, shape (n, size / base size)."""
    if base.size == 1:
        return block[:, offset : offset + size].view(base.letter)
    return block[:, offset : offset + size].view((">" if big_endian else "<") + base.letter)


def physical(raw: np.ndarray, base: Base, field: Known) -> np.ndarray:
    """Raw column as floats in the field's unit, NaN where nothing was recorded."""
    values = raw.astype(np.float64)
    if base.invalid is not None:
        missing = raw == base.invalid
        if missing.any():
            values[missing] = np.nan
    if field.scale:
        values /= field.scale
    if field.offset:
        values -= field.offset
    return values


def scaled(value: Any, base: Base, field: Known) -> Any:
    """The same of one value, kept a whole number where the field has no scale; None where nothing was recorded."""
    if value == base.invalid or value != value:
        return None
    if field.scale:
        value = value / field.scale
    return value - field.offset if field.offset else value


def unpack_speed_distance(columns: dict[str, np.ndarray], wanted: frozenset[str] | None) -> None:
    """Expand the packed pair into speed [m/s] and distance [m], unless the plain fields were written."""
    packed = columns.pop(PACKED, None)
    if packed is None:
        return
    sound = np.isfinite(packed)
    both = packed[sound].astype(np.int64)
    distance = _unrolled((both >> 12) & 0xFFF, 12) / 16.0
    for name, values in (("speed", (both & 0xFFF) / 100.0), ("distance", distance)):
        if wanted is None or name in wanted:
            unpacked = np.full(len(packed), np.nan)
            unpacked[sound] = values
            plain = columns.get(name)
            columns[name] = unpacked if plain is None else np.where(np.isfinite(plain), plain, unpacked)


def unroll_accumulated_power(columns: dict[str, np.ndarray], wanted: frozenset[str] | None) -> None:
    """The 16-bit running total as the full one, where the full one was not written."""
    short = columns.get(ROLLING_WORK)
    if wanted is not None:
        columns.pop(ROLLING_WORK, None)
    if short is None or "accumulated_power" in columns:
        return
    sound = np.isfinite(short)
    total = np.full(len(short), np.nan)
    total[sound] = _unrolled(short[sound].astype(np.int64), 16)
    columns["accumulated_power"] = total


def _unrolled(counter: np.ndarray, bits: int) -> np.ndarray:
    """A counter that rolls over at 2**bits, counted on."""
    return counter + (np.cumsum(np.diff(counter, prepend=counter[:1]) < 0) << bits)
