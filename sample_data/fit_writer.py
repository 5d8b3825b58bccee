"""Write a FIT activity file: header, definition and data messages, checksum. No position can be written.

Field numbers, base types, scales and invalid values follow the public FIT profile as `fitparse` carries it
(fitparse.profile, SDK 20.8); the checksum is CRC-16/ARC. Standard library only.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

FIT_EPOCH_S = 631_065_600  # 1989-12-31T00:00:00Z, from which FIT counts its seconds. [Unix s]
HEADER_SIZE = 14
PROTOCOL_VERSION = 0x10  # 1.0: no developer fields, no 64-bit types
PROFILE_VERSION = 2080  # 20.80, the profile the field table below was checked against

# name: (base type byte, struct code, value that means "missing")
BASE_TYPES = {
    "enum": (0x00, "B", 0xFF),
    "sint8": (0x01, "b", 0x7F),
    "uint8": (0x02, "B", 0xFF),
    "uint16": (0x84, "H", 0xFFFF),
    "uint32": (0x86, "I", 0xFFFFFFFF),
    "uint32z": (0x8C, "I", 0),
    "string": (0x07, "s", b"\x00"),
}

_MOMENT = {"timestamp": (253, "uint32", 1)}
_SUMMARY = {"event": (0, "enum", 1), "event_type": (1, "enum", 1), "start_time": (2, "uint32", 1)}
# message: (global number, {field: (number, base type, scale)})
MESSAGES: dict[str, tuple[int, dict[str, tuple[int, str, int]]]] = {
    "file_id": (0, {"type": (0, "enum", 1), "manufacturer": (1, "uint16", 1), "product": (2, "uint16", 1),
                    "serial_number": (3, "uint32z", 1), "time_created": (4, "uint32", 1)}),
    "session": (18, _MOMENT | _SUMMARY | {
        "sport": (5, "enum", 1), "sub_sport": (6, "enum", 1), "total_elapsed_time": (7, "uint32", 1000),
        "total_timer_time": (8, "uint32", 1000), "avg_heart_rate": (16, "uint8", 1), "avg_cadence": (18, "uint8", 1),
        "avg_power": (20, "uint16", 1), "max_power": (21, "uint16", 1), "first_lap_index": (25, "uint16", 1),
        "num_laps": (26, "uint16", 1), "trigger": (28, "enum", 1), "message_index": (254, "uint16", 1)}),
    "lap": (19, _MOMENT | _SUMMARY | {
        "total_elapsed_time": (7, "uint32", 1000), "total_timer_time": (8, "uint32", 1000),
        "avg_power": (19, "uint16", 1), "lap_trigger": (24, "enum", 1), "message_index": (254, "uint16", 1)}),
    "record": (20, _MOMENT | {
        "heart_rate_bpm": (3, "uint8", 1), "cadence_rpm": (4, "uint8", 1), "power_w": (7, "uint16", 1),
        "temperature_degc": (13, "sint8", 1), "balance_raw": (30, "uint8", 1)}),
    "event": (21, _MOMENT | {"event": (0, "enum", 1), "event_type": (1, "enum", 1)}),
    "device_info": (23, _MOMENT | {
        "device_index": (0, "uint8", 1), "device_type": (1, "uint8", 1), "manufacturer": (2, "uint16", 1),
        "serial_number": (3, "uint32z", 1), "product": (4, "uint16", 1), "software_version": (5, "uint16", 100),
        "battery_voltage": (10, "uint16", 256), "battery_status": (11, "enum", 1), "source_type": (25, "enum", 1),
        "product_name": (27, "string", 1)}),
    "activity": (34, _MOMENT | {
        "total_timer_time": (0, "uint32", 1000), "num_sessions": (1, "uint16", 1), "type": (2, "enum", 1),
        "event": (3, "enum", 1), "event_type": (4, "enum", 1)}),
}  # fmt: skip
TIMES = frozenset({"timestamp", "time_created", "start_time"})  # given in Unix seconds, written from FIT_EPOCH_S

TIMER, SESSION, LAP, ACTIVITY = 0, 8, 9, 26  # event
START, STOP, STOP_ALL = 0, 1, 4  # event_type
CYCLING, INDOOR_CYCLING = 2, 6  # sport, sub_sport
ACTIVITY_FILE = 4  # file


def crc16_arc(data: bytes) -> int:
    """CRC-16/ARC: polynomial 0x8005 reflected, start 0; its published check value for b"123456789" is 0xBB3D."""
    crc = 0
    for byte in data:
        crc = (crc >> 8) ^ _CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc


def _crc_entry(value: int) -> int:
    for _ in range(8):
        value = (value >> 1) ^ (0xA001 if value & 1 else 0)
    return value


_CRC_TABLE = tuple(_crc_entry(i) for i in range(256))


class FitWriter:
    """Collects messages in order; a definition is written whenever a message's layout is new to its local slot."""

    def __init__(self) -> None:
        self._body = bytearray()
        self._slots: dict[str, int] = {}
        self._layouts: dict[int, bytes] = {}

    def write(self, message: str, **values: Any) -> None:
        """Append one message; None and NaN become the type's invalid value. Raises KeyError on unknown names."""
        number, fields = MESSAGES[message]
        slot = self._slots.setdefault(message, len(self._slots))
        layout, content = bytearray(), bytearray()
        for name, value in values.items():
            field, base, scale = fields[name]
            raw = _encode(value - FIT_EPOCH_S if name in TIMES else value, base, scale)
            layout += bytes((field, len(raw), BASE_TYPES[base][0]))
            content += raw
        definition = struct.pack("<BBHB", 0, 0, number, len(values)) + bytes(layout)
        if self._layouts.get(slot) != definition:
            self._body += bytes((0x40 | slot,)) + definition
            self._layouts[slot] = definition
        self._body += bytes((slot,)) + bytes(content)

    def to_bytes(self) -> bytes:
        """The whole file with both checksums."""
        header = struct.pack("<BBHI4s", HEADER_SIZE, PROTOCOL_VERSION, PROFILE_VERSION, len(self._body), b".FIT")
        whole = header + struct.pack("<H", crc16_arc(header)) + bytes(self._body)
        return whole + struct.pack("<H", crc16_arc(whole))


def _encode(value: Any, base: str, scale: int) -> bytes:
    _, code, invalid = BASE_TYPES[base]
    if base == "string":
        return str(value).encode() + b"\x00"
    missing = value is None or (isinstance(value, float) and math.isnan(value))
    return struct.pack(f"<{code}", invalid if missing else round(value * scale))


def activity_file(
    records: Sequence[Mapping[str, float]],
    *,
    unit: Mapping[str, Any],
    sensors: Iterable[Mapping[str, Any]],
    pauses: Sequence[tuple[float, float]] = (),
    laps: Sequence[float] = (),
) -> bytes:
    """One indoor ride as a head unit would save it.

    Parameters
    ----------
    records : one mapping per sample, keys of the `record` message; `timestamp` in whole Unix seconds, ascending.
    unit : manufacturer, product, serial_number of the head unit; further `device_info` fields as wished.
    sensors : `device_info` fields of each sensor.
    pauses : (timer stopped, timer started) in Unix seconds, between records. laps : when the lap button was pressed.
    """
    start, end = records[0]["timestamp"], records[-1]["timestamp"]
    out = FitWriter()
    maker = {name: unit[name] for name in ("manufacturer", "product", "serial_number")}
    out.write("file_id", type=ACTIVITY_FILE, time_created=start, **maker)
    for index, device in enumerate((unit, *sensors)):
        out.write("device_info", timestamp=start, device_index=index, **device)
    out.write("event", timestamp=start, event=TIMER, event_type=START)

    edges = [start, *(t for t in sorted(laps) if start < t < end), end]
    moments = [(at, "pause", (at, on)) for at, on in pauses] + [
        (edges[i + 1], "lap", (i, edges[i], edges[i + 1])) for i in range(len(edges) - 2)
    ]
    waiting = sorted(moments)
    for sample in records:
        while waiting and waiting[0][0] < sample["timestamp"]:
            _, what, about = waiting.pop(0)
            if what == "pause":
                out.write("event", timestamp=about[0], event=TIMER, event_type=STOP_ALL)
                out.write("event", timestamp=about[1], event=TIMER, event_type=START)
            else:
                _write_lap(out, records, pauses, *about)
        out.write("record", **sample)

    out.write("event", timestamp=end, event=TIMER, event_type=STOP_ALL)
    _write_lap(out, records, pauses, len(edges) - 2, edges[-2], end)
    summary = _times(start, end, pauses)
    out.write(
        "session", timestamp=end, event=SESSION, event_type=STOP, **summary, sport=CYCLING, sub_sport=INDOOR_CYCLING,
        avg_heart_rate=_mean(records, "heart_rate_bpm"), avg_cadence=_mean(records, "cadence_rpm"),
        avg_power=_mean(records, "power_w"), max_power=max(_values(records, "power_w")), first_lap_index=0,
        num_laps=len(edges) - 1, trigger=0, message_index=0,
    )  # fmt: skip
    out.write("activity", timestamp=end, total_timer_time=summary["total_timer_time"], num_sessions=1, type=0,
              event=ACTIVITY, event_type=STOP)  # fmt: skip
    return out.to_bytes()


def _write_lap(
    out: FitWriter, records: Sequence[Mapping[str, float]], pauses: Sequence[tuple[float, float]],
    index: int, start: float, end: float,
) -> None:  # fmt: skip
    inside = [r for r in records if start <= r["timestamp"] < end]
    out.write("lap", timestamp=end, event=LAP, event_type=STOP, **_times(start, end, pauses),
              avg_power=_mean(inside, "power_w"), lap_trigger=0, message_index=index)  # fmt: skip


def _times(start: float, end: float, pauses: Sequence[tuple[float, float]]) -> dict[str, float]:
    paused = sum(max(0.0, min(on, end) - max(off, start)) for off, on in pauses)
    return {"start_time": start, "total_elapsed_time": end - start, "total_timer_time": end - start - paused}


def _values(records: Sequence[Mapping[str, float]], name: str) -> list[float]:
    return [r[name] for r in records if not math.isnan(r[name])]


def _mean(records: Sequence[Mapping[str, float]], name: str) -> float | None:
    values = _values(records, name)
    return sum(values) / len(values) if values else None
