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
SIDE_KNOWN_16, SHARE_16 = 0x8000, 0x3FFF  # balance of laps and sessions: flag, right share in 0.01 %
WATTS_FROM = 1000  # a workout target above it is watts plus 1000, below it a percentage
TEMPERATURE_NOTE = "measured by the recording unit, not by the power sensor"


def facts(content: FitContent, first_stamp: float) -> dict[str, Any]:
    """Facts of one recording; `first_stamp` is the raw stamp of the first sample, the zero of every time in them."""
    messages = content.messages
    events, laps = messages.get("event", []), messages.get("lap", [])
    out: dict[str, Any] = {
        "recorder": _recorder(messages),
        "sensors": _sensors(messages.get("device_info", [])),
        "timer_stops": _timer_stops(events, first_stamp),
        "laps": [lap for row in laps if (lap := _lap(row, first_stamp))],
        "calibrations": _calibrations(events, first_stamp),
        "settings": _settings(messages.get("bike_profile", [])),
        "ride": _ride(messages.get("session", [])),
        "workout": [_step(row) for row in messages.get("workout_step", [])],
        "developer_fields": [
            {"name": f.name[:60], "units": f.units, "native_field": f.native_field_num} for f in content.developer
        ],
        "parts": content.n_parts,
    }
    if "temperature" in content.records:
        out["temperature"] = TEMPERATURE_NOTE
    return {key: value for key, value in out.items() if value not in (None, [], {})}


def _recorder(messages: dict[str, list[Row]]) -> Row:
    merged: Row = {}
    for row in messages.get("file_id", [])[:1] + messages.get("file_creator", [])[:1]:
        merged |= row
    for row in messages.get("device_info", []):
        if row.get("device_index") == CREATOR_INDEX:
            # Its firmware is scaled, that of file_creator is a bare number; for all else the first message wins.
            merged = row | merged | {k: v for k, v in row.items() if k == "software_version"}
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


def _lap(row: Row, first_stamp: float) -> Row | None:
    start = row.get("start_time")
    if not isinstance(start, (int, float)):
        return None
    lap: Row = {"start_s": float(start - first_stamp)} | _totals(row)
    if "lap_trigger" in row:
        lap["trigger"] = enum_name("lap_trigger", row["lap_trigger"]) or str(row["lap_trigger"])
    return lap


def _ride(rows: list[Row]) -> Row:
    """The recorder's own summary, to hold against what is computed; of several sessions the last."""
    if not rows:
        return {}
    row = rows[-1]
    ride = _totals(row)
    for key, kind in (("sport", "sport"), ("sub_sport", "sub_sport")):
        word = enum_name(kind, row.get(key))
        if word:
            ride[key] = word
    if "total_work" in row:
        ride["work_j"] = float(row["total_work"])
    return ride


def _totals(row: Row) -> Row:
    out: Row = {}
    for key, fact in (
        ("total_elapsed_time", "duration_s"), ("total_timer_time", "timer_s"), ("avg_power", "mean_w"),
        ("max_power", "max_w"),
    ):  # fmt: skip
        if isinstance(row.get(key), (int, float)):
            out[fact] = float(row[key])
    balance = row.get("left_right_balance")
    if isinstance(balance, int) and balance & SIDE_KNOWN_16 and (balance & SHARE_16) <= 10000:
        out["left_share_frac"] = round(1.0 - (balance & SHARE_16) / 10000.0, 4)
    return out


def _calibrations(events: list[Row], first_stamp: float) -> list[Row]:
    """Zero offsets that the recorder noted: when, and the value that the sensor answered, where it was written."""
    found = []
    for row in events:
        if row.get("event") != EVENT_CALIBRATION or not isinstance(row.get("timestamp"), (int, float)):
            continue
        entry: Row = {"at_s": float(row["timestamp"] - first_stamp)}
        value = row.get("data", row.get("data16"))
        if value is not None:
            entry["value"] = value
        found.append(entry)
    return found


def _settings(rows: list[Row]) -> Row:
    """What was set for the bike: scale factor of the power and crank length."""
    if not rows:
        return {}
    row = rows[-1]
    names = (
        ("power_cal_factor", "power_scale_pct"),
        ("crank_length", "crank_length_mm"),
        ("auto_power_zero", "auto_zero"),
    )
    return {fact: row[key] for key, fact in names if isinstance(row.get(key), (int, float))}


def _step(row: Row) -> Row:
    """One step of a planned workout, where it is a time with a target in watts."""
    step: Row = {}
    if enum_name("wkt_step_duration", row.get("duration_type")) == "time" and "duration_value" in row:
        step["duration_s"] = row["duration_value"] / 1000.0
    if enum_name("wkt_step_target", row.get("target_type")) == "power":
        for key, fact in (("custom_target_value_low", "low_w"), ("custom_target_value_high", "high_w")):
            if row.get(key, 0) >= WATTS_FROM:
                step[fact] = row[key] - WATTS_FROM
    return step
