"""What a trial's result tells of things that went wrong: drop-outs, batteries, zeros, another firmware -> incidents to be kept.

Reads the result as its JSON says it; the reviewer decides which of them go into the dossier.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from analysis.dossier.document import MAX_TEXT, Incident

LOW_BATTERY = ("low", "critical")
# Lines of the health report that tell of a drop-out; a pause with the timer stopped is none.
HOLES = ("dropout", "missing", "held", "lost-work")
# The finding that tells of the same, with what the other devices show.
TOLD_BY = {"dropout": "dropouts", "missing": "dropouts", "lost-work": "dropouts", "held": "stuck"}


def incidents_in(report: Mapping[str, Any], label: str, *, trial: str, before: str | None = None) -> tuple[Incident, ...]:
    """Incidents of one device in one trial; empty for a label that the trial does not have.

    before : the firmware that the device had in the trial before this one.
    """
    device = next((r for r in report["recordings"] if r["label"] == label), None)
    if device is None:
        return ()
    day = (device["start_utc"] or "")[:10] or None
    told = tuple(_findings(report, label))
    facts = _facts(device, told={code for code, _ in told})
    found = (*_firmware(device, before), *facts, *(("drop-out", text) for _, text in told))
    return tuple(Incident(day=day, kind=kind, what=what[:MAX_TEXT], found_in=trial) for kind, what in found)


def _firmware(device: Mapping[str, Any], before: str | None) -> Iterator[tuple[str, str]]:
    now = device.get("firmware")
    if now and before and now != before:
        yield "firmware", f"Firmware {now} is on the device; it was {before} in the trial before."


def _facts(device: Mapping[str, Any], told: set[str]) -> Iterator[tuple[str, str]]:
    """What the file says; holes that a finding tells of already are left to it."""
    facts = device.get("facts") or {}
    for sensor in facts.get("sensors", ()):
        if sensor.get("type") != "bike_power":
            continue
        if sensor.get("battery_status") in LOW_BATTERY:
            volts = f" at {sensor['battery_last_v']:.2f} V" if sensor.get("battery_last_v") else ""
            yield "battery", f"The recording says that the battery was {sensor['battery_status']}{volts}."
    for event in facts.get("calibrations", ()):
        value = f", value {event['value']:g}" if event.get("value") is not None else ""
        yield "zero", f"Zeroed at {_clock(event['at_s'])}{value}."
    for note in facts.get("health", ()):
        if note["notable"] and note["code"] in HOLES and TOLD_BY.get(note["code"]) not in told:
            yield "drop-out", note["text"]


def _findings(report: Mapping[str, Any], label: str) -> Iterator[tuple[str, str]]:
    for finding in report["findings"]:
        if finding["label"] == label and finding["code"] in ("dropouts", "stuck"):
            yield finding["code"], finding["text"]


def _clock(at_s: float) -> str:
    minutes, seconds = divmod(round(at_s), 60)
    return f"{minutes}:{seconds:02d}"
