"""A sheet's fields <-> the set-up tree that `analysis.setup` checks. Pure; no dash."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.errors import BadSetup
from analysis.setup import DeviceSetup, Setup, setup_from_dict
from app import ids

Rows = dict[str, dict[str, Any]]
NUMBERS = {ids.CLAIM: ("claim_pct", "claim"), ids.SHIFT: ("shift_s", "shift by hand")}


def rows_of(field_ids: Sequence[Mapping[str, Any]], values: Sequence[Any]) -> Rows:
    """Dash's two lists of a sheet's fields as recording key -> part -> value."""
    rows: Rows = {}
    for field_id, value in zip(field_ids, values, strict=True):
        rows.setdefault(field_id["key"], {})[field_id["part"]] = value
    return rows


def setup_of(
    files: Sequence[tuple[str, str]],
    rows: Rows,
    *,
    reference: str | None,
    title: str | None,
    loss: tuple[Any, Any],
    plan: Sequence[Mapping[str, Any]] = (),
) -> Setup:
    """The set-up a sheet describes; `files` are (key, file name), `reference` is a key.

    Raises
    ------
    BadSetup
        One sentence that names the file and the field.
    """
    devices = [_device(name, rows.get(key, {})) for key, name in files]
    labels = {key: device["label"] for (key, _), device in zip(files, devices, strict=True)}
    twice = next((label for label in labels.values() if list(labels.values()).count(label) > 1), None)
    if twice is not None:
        raise BadSetup(f"Two recordings are labelled {twice!r}; give each its own label.")
    trial = {"title": (title or "").strip(), "reference": labels.get(reference or "")}
    tree = {
        "trial": {k: v for k, v in trial.items() if v},
        "drivetrain": {"loss_pct": [_number(edge, "drivetrain loss") for edge in loss]},
        "device": devices,
        "plan": [dict(step) for step in plan],
    }
    if None in tree["drivetrain"]["loss_pct"]:
        del tree["drivetrain"]["loss_pct"]
    return setup_from_dict(tree, name="The sheet")


def device_for(setup: Setup, *, file: str, label: str | None = None) -> DeviceSetup:
    """What a set-up says of a recording, by file name first, then by label; an empty entry where it says nothing."""
    for device in setup.devices:
        if device.file == file or (device.file is None and label is not None and device.label == label):
            return device
    return DeviceSetup(file=file)


def fields_of(device: DeviceSetup) -> dict[str, Any]:
    """A set-up entry as a row's fields; what was not said stays out."""
    said = {
        ids.LABEL: device.label,
        ids.POINT: device.point,
        ids.CLAIM: device.claim_pct,
        ids.FIRMWARE: device.firmware,
        ids.SHIFT: device.shift_s,
    }
    return {part: value for part, value in said.items() if value is not None}


def _device(name: str, row: Mapping[str, Any]) -> dict[str, Any]:
    label = str(row.get(ids.LABEL) or "").strip()
    if not label:
        raise BadSetup(f"{name} has no label; name the device in a word or two, so that the page can speak of it.")
    entry: dict[str, Any] = {"file": name, "label": label}
    if row.get(ids.POINT) and row[ids.POINT] != "not stated":
        entry["point"] = row[ids.POINT]
    if str(row.get(ids.FIRMWARE) or "").strip():
        entry["firmware"] = str(row[ids.FIRMWARE]).strip()
    for part, (key, words) in NUMBERS.items():
        value = _number(row.get(part), f"{words} of {label}")
        if value is not None:
            entry[key] = value
    return entry


def _number(value: Any, what: str) -> float | None:
    text = str(value if value is not None else "").strip().replace(",", ".").replace("−", "-")
    if not text:
        return None
    try:
        return float(text)
    except ValueError:
        raise BadSetup(f"The {what} must be a number; got {value!r}.") from None
