"""What a file says about its devices, in words: the reader's choice of facts; all of them are in the JSON."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from app.wording import NOTHING, clock_text, counted, from_to, length, number, plain_key, with_unit

# Told elsewhere on the page, or of use to a program only.
SILENT = frozenset({"label_guess", "point_guess", "parts", "records_read", "clock", "developer_fields", "health"})
MAX_STOPS = 3  # more of them than this are counted rather than listed
SENSOR_WORDS = {"bike_power": "power", "heart_rate": "heart rate", "bike_speed_cadence": "speed and cadence"}


def fact_lines(facts: Mapping[str, Any], start_s: float = 0.0) -> list[tuple[str, str]]:
    """(name, words) per fact, in the file's order; facts of an unknown shape are told as they are, nested ones counted.

    start_s : the recording's first sample on the trial's clock, on which places are told. [s]
    """
    lines = []
    facts = dict(facts)
    if "timer_stops" in facts:
        facts["timer_stops"] = [[start_s + edge for edge in stop] for stop in facts["timer_stops"]]
    if "calibrations" in facts:
        facts["calibrations"] = [event | {"at_s": start_s + event["at_s"]} for event in facts["calibrations"]]
    for key, value in facts.items():
        if key in SILENT or value in (None, "", [], {}):
            continue
        words = TELLERS[key](value) if key in TELLERS else _plain(value)
        if words:
            lines.append((plain_key(key), words))
    return lines


def _device(device: Mapping[str, Any]) -> str:
    kind = SENSOR_WORDS.get(device.get("type"), plain_key(str(device["type"])) if device.get("type") else "")
    made = plain_key(str(device.get("maker_name") or ""))
    product = f"product {device['product']}" if device.get("product") is not None else ""
    firmware = f"firmware {device['firmware']}" if device.get("firmware") is not None else ""
    radio = f"radio {plain_key(str(device['radio']))}" if device.get("radio") else ""
    return ", ".join(piece for piece in (kind, made, product, firmware, _battery(device), radio) if piece)


def _battery(device: Mapping[str, Any]) -> str:
    volts = device.get("battery_last_v")
    status = str(device.get("battery_status") or "")
    if volts is None:
        return f"battery {status}" if status else ""
    first = device.get("battery_first_v")
    fell = f"{number(first, 2)} to " if first is not None and round(first, 2) != round(volts, 2) else ""
    return f"battery {fell}{with_unit(number(volts, 2), 'V')}" + (f" ({status})" if status else "")


def _sensors(sensors: Sequence[Mapping[str, Any]]) -> str:
    return "; ".join(filter(None, map(_device, sensors)))


def _stops(stops: Sequence[Sequence[float]]) -> str:
    if len(stops) > MAX_STOPS:
        return f"{counted(len(stops), 'stop')}, {length(sum(stop[1] - stop[0] for stop in stops))} in all"
    return ", ".join(from_to(*stop[:2]) for stop in stops)


def _calibrations(events: Sequence[Mapping[str, Any]]) -> str:
    """Zero offsets as the recorder noted them."""
    told = [f"{clock_text(e['at_s'])}" + (f" (value {e['value']})" if "value" in e else "") for e in events]
    more = f" and {len(told) - MAX_STOPS} more" if len(told) > MAX_STOPS else ""
    return f"zero offset taken at {', '.join(told[:MAX_STOPS])}{more}"


def _settings(settings: Mapping[str, Any]) -> str:
    pieces = []
    if settings.get("crank_length_mm") is not None:
        pieces.append(f"crank length {with_unit(number(settings['crank_length_mm'], 1), 'mm')}")
    if settings.get("power_scale_pct") is not None:
        pieces.append(f"scale factor of the power {with_unit(number(settings['power_scale_pct'], 1), '%')}")
    if settings.get("auto_zero") is not None:
        pieces.append(f"automatic zero {'on' if settings['auto_zero'] else 'off'}")
    return ", ".join(pieces)


def _ride(ride: Mapping[str, Any]) -> str:
    pieces = []
    if ride.get("mean_w") is not None:
        pieces.append(f"mean {with_unit(number(ride['mean_w'], 0), 'W')}")
    if ride.get("max_w") is not None:
        pieces.append(f"highest {with_unit(number(ride['max_w'], 0), 'W')}")
    return ", ".join(pieces) + ", by the recorder's own summary" if pieces else ""


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        scalars = {k: v for k, v in value.items() if not isinstance(v, (Mapping, list, tuple)) and v is not None}
        return ", ".join(f"{plain_key(str(k))} {_plain(v)}" for k, v in scalars.items())
    if isinstance(value, (list, tuple)):
        nested = any(isinstance(v, (Mapping, list, tuple)) for v in value)
        return f"{len(value)} of them" if nested else ", ".join(map(_plain, value))
    return NOTHING if value is None else str(value)


TELLERS: dict[str, Callable[[Any], str]] = {
    "recorder": _device,
    "sensors": _sensors,
    "laps": lambda laps: str(len(laps)),
    "timer_stops": _stops,
    "calibrations": _calibrations,
    "settings": _settings,
    "ride": _ride,
}
