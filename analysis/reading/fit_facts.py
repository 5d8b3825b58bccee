"""What a FIT file says of the devices and of the ride's course: recorder, sensors, timer stops, laps, calibrations.

Every value is JSON-able; times are seconds after the first sample. Serial and radio numbers leave this module only as a
short hash. Numbers of makers and products stay numbers, as found; their names come from the profile at run time.
"""

from __future__ import annotations

from typing import Any

from analysis.reading.fit_content import FitContent
from analysis.reading.fit_profile import enum_name
from analysis.reading.naming import hash_serial

Row = dict[str, Any]

EVENT_TIMER, EVENT_CALIBRATION = 0, 36
STARTS, STOPS = frozenset({0}), frozenset({1, 4, 8, 9})  # event_type: start; stop, stop_all, stop_disable, ..._all
CREATOR_INDEX = 0  # device_index of the recorder itself
SOURCE_LOCAL = 5  # source_type of a part inside the recorder
# Device types written by old files without a source type, so that no sub-field names them. 11 = bike power.
BIKE_POWER, FITNESS_EQUIPMENT = 11, 17
TEMPERATURE_NOTE = "measured by the recording unit, not by the power sensor"


def facts(content: FitContent, first_stamp: float) -> dict[str, Any]:
    """Facts of one recording; `first_stamp` is the raw stamp of the first sample, the zero of every time in them."""
    messages = content.messages
    out: dict[str, Any] = {
        "recorder": _recorder(messages),
        "sensors": _sensors(messages.get("device_info", [])),
        "timer_stops": _timer_stops(messages.get("event", []), first_stamp),
        "laps": _laps(messages.get("lap", []), first_stamp),
        "calibrations": _calibrations(messages.get("event", []), first_stamp),
        "developer_fields": [
            {"name": f.name[:60], "units": f.units, "native_field": f.native_field_num} for f in content.developer
        ],
        "parts": content.n_parts,
    }
    if "temperature" in content.records:
        out["temperature"] = TEMPERATURE_NOTE
    settings = messages.get("bike_profile", [])
    if settings:
        out["settings"] = {k: v for k, v in settings[-1].items() if isinstance(v, (int, float))}
    return {key: value for key, value in out.items() if value not in (None, [], {})}


def _recorder(messages: dict[str, list[Row]]) -> Row:
    merged: Row = {}
    for row in messages.get("file_id", [])[:1] + messages.get("file_creator", [])[:1]:
        merged |= row
    for row in messages.get("device_info", []):
        if row.get("device_index") == CREATOR_INDEX:
            merged = row | merged
    return _device(merged)


def _device(row: Row) -> Row:
    """The common part of recorder and sensor: maker, product, firmware, hashed serial."""
    out: Row = {}
    maker = row.get("manufacturer")
    if isinstance(maker, int):
        out["maker"] = maker
        maker_name = enum_name("manufacturer", maker)
        if maker_name:
            out["maker_name"] = maker_name
    for key, fact in (("product", "product"), ("software_version", "firmware"), ("hardware_version", "hardware")):
        if isinstance(row.get(key), (int, float)):
            out[fact] = row[key]
    serial = row.get("serial_number") or row.get("ant_device_number")
    if serial:
        out["serial_hash"] = hash_serial(serial)
    return out


def _sensors(rows: list[Row]) -> list[Row]:
    """One entry per sensor, keyed by serial or radio number: the index changes when sensors come and go."""
    sensors: dict[Any, Row] = {}
    for row in rows:
        if row.get("device_index") == CREATOR_INDEX or row.get("source_type") == SOURCE_LOCAL:
            continue
        number = row.get("serial_number") or row.get("ant_device_number")
        key = ("serial", number) if number else ("index", row.get("device_index"), row.get("device_type"))
        known = sensors.setdefault(key, {})
        known |= _device(row)
        kind = row.get("device_type")
        if isinstance(kind, int):
            known["device_type"] = kind
            known["type"] = enum_name("antplus_device_type", kind) or f"type {kind}"
        if isinstance(row.get("source_type"), int):
            known["radio"] = enum_name("source_type", row["source_type"]) or f"source {row['source_type']}"
        _battery(known, row)
    return [s for s in sensors.values() if "serial_hash" in s or "device_type" in s]


def _battery(known: Row, row: Row) -> None:
    volts = row.get("battery_voltage")
    if isinstance(volts, (int, float)) and volts > 0:
        known.setdefault("battery_first_v", round(float(volts), 3))
        known["battery_last_v"] = round(float(volts), 3)
    status = enum_name("battery_status", row.get("battery_status"))
    if status:
        known["battery_status"] = status


def _timer_stops(events: list[Row], first_stamp: float) -> list[list[float]]:
    """[start, end] of every time the timer stood still between two stretches of riding. [s]"""
    stops: list[list[float]] = []
    stopped: float | None = None
    rows = [e for e in events if e.get("event") == EVENT_TIMER and isinstance(e.get("timestamp"), (int, float))]
    for row in sorted(rows, key=lambda e: e["timestamp"]):
        at = float(row["timestamp"] - first_stamp)
        if row.get("event_type") in STOPS and stopped is None:
            stopped = at
        elif row.get("event_type") in STARTS and stopped is not None:
            if at > max(stopped, 0.0):
                stops.append([max(stopped, 0.0), at])
            stopped = None
    return stops


def _laps(rows: list[Row], first_stamp: float) -> list[Row]:
    laps = []
    for row in rows:
        start = row.get("start_time")
        if not isinstance(start, (int, float)):
            continue
        lap: Row = {"start_s": float(start - first_stamp)}
        if isinstance(row.get("total_elapsed_time"), (int, float)):
            lap["duration_s"] = float(row["total_elapsed_time"])
        if isinstance(row.get("lap_trigger"), int):
            lap["trigger"] = enum_name("lap_trigger", row["lap_trigger"]) or str(row["lap_trigger"])
        laps.append(lap)
    return laps


def _calibrations(events: list[Row], first_stamp: float) -> list[Row]:
    return [
        {"at_s": float(e["timestamp"] - first_stamp), "value": e.get("data", e.get("data16"))}
        for e in events
        if e.get("event") == EVENT_CALIBRATION and isinstance(e.get("timestamp"), (int, float))
    ]
