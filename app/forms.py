"""A sheet's fields <-> the set-up tree that `analysis.setup` checks. Pure; no dash."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from analysis.errors import BadSetup
from analysis.setup import DeviceSetup, Setup, setup_from_dict
from app import ids
from app.ride_plan import steps_of

TEXTS = (ids.POINT, ids.FIRMWARE, ids.SIDES, ids.OBTAINED, ids.POWER)
NUMBERS = {ids.CLAIM: ("claim_pct", "claim"), ids.SHIFT: ("shift_s", "shift by hand")}


@dataclass(frozen=True, kw_only=True)
class SheetEntries:
    """What stands in a sheet, all of it text; `rows` is recording key -> part -> text, `plan` None without a table of steps."""

    rows: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    reference: str = ""
    title: str = ""
    loss: tuple[str, str] = ("", "")
    blocks_first: bool = False
    plan: Sequence[Mapping[str, str]] | None = None


def entries_of(data: Any) -> SheetEntries:
    """A form as the browser sent it; whatever is not text where text belongs counts as empty."""
    tree = data if isinstance(data, Mapping) else {}
    rows = tree.get("rows") if isinstance(tree.get("rows"), Mapping) else {}
    return SheetEntries(
        rows={
            str(key): {part: _text(row.get(part)) for part in ids.PARTS if part in row}
            for key, row in rows.items()
            if isinstance(row, Mapping)
        },
        reference=_text(tree.get("reference")),
        title=_text(tree.get("title")),
        loss=(_text(tree.get("loss-low")), _text(tree.get("loss-high"))),
        blocks_first=bool(_text(tree.get(ids.BLOCKS_FIRST))),
        plan=_plan(tree.get("plan")),
    )


def setup_of(files: Sequence[tuple[str, str]], entries: SheetEntries, *, plan: Sequence[Mapping[str, Any]] = ()) -> Setup:
    """The set-up a sheet describes; `files` are (key, file name), `plan` holds where the sheet had no table of steps.

    Raises
    ------
    BadSetup
        One sentence that names the file and the field.
    """
    devices = [_device(name, entries.rows.get(key, {})) for key, name in files]
    labels = {key: device["label"] for (key, _), device in zip(files, devices, strict=True)}
    twice = next((label for label in labels.values() if list(labels.values()).count(label) > 1), None)
    if twice is not None:
        raise BadSetup(f"Two recordings are labelled {twice!r}; give each its own label.")
    trial = {"title": entries.title, "reference": labels.get(entries.reference)}
    tree = {
        "trial": {k: v for k, v in trial.items() if v},
        "drivetrain": {"loss_pct": [_number(edge, "drivetrain loss") for edge in entries.loss]},
        "device": devices,
        "plan": [dict(step) for step in plan] if entries.plan is None else steps_of(entries.plan),
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
        ids.SIDES: device.sides,
        ids.OBTAINED: device.obtained,
        ids.SHIFT: device.shift_s,
        ids.POWER: device.power,
    }
    return {part: value for part, value in said.items() if value is not None}


def _device(name: str, row: Mapping[str, str]) -> dict[str, Any]:
    label = row.get(ids.LABEL, "")
    if not label:
        raise BadSetup(f"{name} has no label; name the device in a word or two, so that the page can speak of it.")
    entry: dict[str, Any] = {"file": name, "label": label}
    entry |= {part: row[part] for part in TEXTS if row.get(part)}
    for part, (key, words) in NUMBERS.items():
        value = _number(row.get(part, ""), f"{words} of {label}")
        if value is not None:
            entry[key] = value
    return entry


def _plan(sent: Any) -> list[dict[str, str]] | None:
    if not isinstance(sent, list):
        return None
    return [{part: _text(step.get(part)) for part in ids.STEP_PARTS} for step in sent if isinstance(step, Mapping)]


def _text(value: Any) -> str:
    return value.strip() if isinstance(value, str) else ""


def _number(text: str, what: str) -> float | None:
    if not text:
        return None
    try:
        return float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        raise BadSetup(f"The {what} must be a number; got {text!r}.") from None
