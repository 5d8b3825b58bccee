"""FIT through `fitparse`, message by message: slow and careful; the referee of the columnar decoder and its stand-in.

`fitparse` holds the descriptions of developer fields in a module-level dict; they are cleared around every part and the
whole decode is under a lock, so that no file sees the fields of another.
"""

from __future__ import annotations

import io
import threading
from typing import Any

import fitparse
import numpy as np
from fitparse import records as fitparse_records
from fitparse.processors import FitFileDataProcessor
from fitparse.utils import FitEOFError

from analysis.reading.fit_content import PLACE_FIELDS, WANTED, DeveloperField, FitContent, PartContent
from analysis.reading.fit_parts import MAGIC, Part

UNPACKED = ("speed", "distance", "accumulated_power")  # what fitparse expands from packed fields and we use
MAX_ARRAY = 4  # longer arrays in `record` are raw sensor bursts, not values of the second

_ONE_AT_A_TIME = threading.Lock()  # guards fitparse's module-level DEV_TYPES


class _NoProcessing(FitFileDataProcessor):
    """Leave the values as decoded: the default turns some numbers into dates and strings."""

    def run_type_processor(self, field_data: Any) -> None: ...

    def run_field_processor(self, field_data: Any) -> None: ...

    def run_unit_processor(self, field_data: Any) -> None: ...

    def run_message_processor(self, data_message: Any) -> None: ...


class _Rows:
    """Values collected while the messages go by: native rows, developer rows, wanted messages."""

    def __init__(self) -> None:
        self.native: list[dict[str, float]] = []
        self.developer: list[dict[tuple[int, int], float]] = []
        self.described: dict[tuple[int, int], Any] = {}
        self.messages: dict[str, list[dict[str, Any]]] = {}

    def add(self, message: Any) -> None:
        if message.name == "record":
            native, developer = _record_row(message, self.described)
            self.native.append(native)
            self.developer.append(developer)
        elif message.name in WANTED:
            wanted = WANTED[message.name]
            row = {n: v for n, v in _values(message) if n in wanted and isinstance(v, (int, float, str))}
            self.messages.setdefault(message.name, []).append(row)

    def drop_last_record(self) -> None:
        if self.native:
            self.native.pop()
            self.developer.pop()


def decode_part(data: bytes, part: Part) -> PartContent:
    """Decode one part, message by message, as far as it goes."""
    rows = _Rows()
    body = data[part.start : part.end]
    # A fresh header with the true length: an unfinished or cut part then reads up to its last whole message.
    header = bytes([12, 0x10, 0, 0]) + len(body).to_bytes(4, "little") + MAGIC
    # Two bytes stand in for the checksum, which was dealt with before; a cut part must not gain bytes.
    stream = io.BytesIO(header + body + (b"" if part.missing else b"\0\0"))
    reached, problem = part.end, ""
    with _ONE_AT_A_TIME:
        fitparse_records.DEV_TYPES.clear()
        position = len(header)
        try:
            fit = fitparse.FitFile(stream, check_crc=False, data_processor=_NoProcessing())
            for message in fit.get_messages():
                rows.add(message)
                position = len(header) + len(body) if stream.closed else stream.tell()
        except FitEOFError:
            reached = part.start + position - len(header)
            # With no byte left over it was only the checksum that is missing.
            problem = "" if reached >= part.end else "cut"
        except Exception:  # fitparse raises many kinds on damaged input; each ends the part
            reached, problem = part.start + position - len(header), "lost"
            rows.drop_last_record()  # often already garbage
        finally:
            fitparse_records.DEV_TYPES.clear()
    content = FitContent(
        n_records=len(rows.native),
        records=_columns(rows.native),
        developer=_developer_fields(rows),
        messages=rows.messages,
    )
    return PartContent(content=content, reached=reached, problem=problem)


def _values(message: Any) -> list[tuple[str, Any]]:
    """(profile name, scaled number or text) per native field; a sub-field goes by its parent's name."""
    out = []
    for item in message.fields:
        if item.field_type == "devfield" or item.field is None:
            continue
        if item.field_def is None and item.name != "timestamp":  # a component, expanded from another field
            continue
        field = item.parent_field or item.field
        raw = item.raw_value
        if isinstance(raw, (int, float)):
            if field.scale:
                raw = raw / field.scale
            if field.offset:
                raw = raw - field.offset
        out.append((field.name, raw))
    return out


def _record_row(message: Any, described: dict) -> tuple[dict[str, float], dict[tuple[int, int], float]]:
    native: dict[str, float] = {}
    developer: dict[tuple[int, int], float] = {}
    for item in message.fields:
        if item.field_type == "devfield":
            if isinstance(item.raw_value, (int, float)):
                key = (item.field.dev_data_index, item.field.def_num)
                described.setdefault(key, item.field)
                developer[key] = float(item.raw_value)
        elif item.field_def is None and item.name in UNPACKED and item.raw_value is not None:
            native.setdefault(item.name, float(item.raw_value))  # already scaled
    for field_name, value in _values(message):
        if field_name in PLACE_FIELDS or value is None:
            continue
        if isinstance(value, (int, float)):
            native[field_name] = float(value)
        elif isinstance(value, tuple) and len(value) <= MAX_ARRAY and field_name != "compressed_speed_distance":
            field = message.get(field_name).field
            for i, entry in enumerate(value):
                if isinstance(entry, (int, float)):
                    native[f"{field_name}_{i}"] = entry / (field.scale or 1) - (field.offset or 0)
    return native, developer


def _columns(rows: list[dict[str, float]]) -> dict[str, np.ndarray]:
    names = dict.fromkeys(name for row in rows for name in row)
    return {name: np.array([row.get(name, np.nan) for row in rows], dtype=float) for name in names}


def _developer_fields(rows: _Rows) -> tuple[DeveloperField, ...]:
    return tuple(
        DeveloperField(
            name=str(field.name),
            units=field.units,
            native_field_num=field.native_field_num,
            values=np.array([row.get(key, np.nan) for row in rows.developer], dtype=float),
        )
        for key, field in rows.described.items()
    )
