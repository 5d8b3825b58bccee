"""The parts of a dossier that an owner fills in, field by field: one description serves the form and the reading of it.

Pure; what came from a browser is text, `read_part` gives the plain table that `analysis.dossier.document` checks.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from analysis.dossier.document import KINDS, LICENCES, OBTAINED, PROMISES, VARIED, WHERE
from analysis.errors import BadSetup
from analysis.setup import POINTS

FieldKind = Literal["text", "long", "number", "numbers", "day", "choice", "yes", "some", "kept"]


@dataclass(frozen=True, kw_only=True)
class Field:
    """One field: its key in the document, what stands beside it, and how its text is read. `kept` goes through unseen."""

    key: str
    label: str
    kind: FieldKind = "text"
    unit: str = ""
    options: tuple[str, ...] = ()
    hint: str = ""


@dataclass(frozen=True, kw_only=True)
class Part:
    """One form: a single table, or rows of them (`many`). `path` is where it stands in the document; empty: at its top."""

    name: str
    title: str
    meaning: str
    fields: tuple[Field, ...]
    many: bool = False
    path: str = ""


READING = "310.5; 311; 311"
PARTS: dict[str, Part] = {
    part.name: part
    for part in (
        Part(
            name="words",
            title="Title and conclusion",
            meaning="The conclusion is yours; what the trials say stands above it by itself.",
            fields=(
                Field(key="title", label="Title"),
                Field(key="reviewer", label="Reviewer"),
                Field(key="conclusion", label="Conclusion", kind="long"),
                Field(key="limits", label="What this review cannot say", kind="long"),
                Field(key="licence", label="Licence of the data", kind="choice", options=LICENCES),
            ),
        ),
        Part(
            name="device",
            title="The device",
            path="device",
            meaning="What it is and how you came by it; readers weigh a verdict by it.",
            fields=(
                Field(key="name", label="Name"),
                Field(key="about", label="What it is", kind="long"),
                Field(key="point", label="Measuring point", kind="choice", options=("", *POINTS)),
                Field(key="claim_pct", label="Claim, ±", kind="number", unit="% of reading"),
                Field(key="obtained", label="Obtained", kind="choice", options=OBTAINED),
                Field(key="obtained_note", label="By whom, when, until when"),
                Field(key="price", label="Price", kind="number"),
                Field(key="currency", label="Currency", hint="three letters"),
                Field(key="ties", label="Ties with the maker", kind="long"),
            ),
        ),
        Part(
            name="firmware",
            title="Firmware",
            path="firmware",
            many=True,
            meaning="Every version that the device had while it was reviewed.",
            fields=(
                Field(key="version", label="Version"),
                Field(key="since", label="Since", kind="day"),
                Field(key="note", label="What changed"),
            ),
        ),
        Part(
            name="trials",
            title="Trials",
            path="trials",
            many=True,
            meaning="Who rode which unit on which bike; the figures come from the trial.",
            fields=(
                Field(key="key", label="", kind="kept"),
                Field(key="name", label="Name"),
                Field(key="day", label="Day", kind="day"),
                Field(key="rider", label="Rider"),
                Field(key="unit", label="Unit"),
                Field(key="rig", label="Bike, gear, trainer"),
                Field(key="where", label="Where", kind="choice", options=WHERE),
                Field(key="varied", label="Varied on purpose", kind="some", options=VARIED),
                Field(key="note", label="Note"),
            ),
        ),
        Part(
            name="bench",
            title="Bench sheet",
            path="bench",
            many=True,
            meaning="Claimed against measured. Take the part off and put it back between readings.",
            fields=(
                Field(key="device", label="Device"),
                Field(key="row.quantity", label="Quantity"),
                Field(key="row.unit", label="Unit"),
                Field(key="row.claimed", label="Claimed", kind="number"),
                Field(key="row.tolerance", label="Tolerance, ±", kind="number"),
                Field(key="row.promise", label="The claim is", kind="choice", options=PROMISES),
                Field(key="row.readings", label="Readings", kind="numbers", hint=READING),
                Field(key="row.resolution", label="Smallest step shown", kind="number"),
                Field(key="row.calibration", label="Calibration, u", kind="number"),
                Field(key="row.setup", label="Lost by the set-up, ±", kind="number"),
                Field(key="row.stopped_early", label="stopped early: at least this", kind="yes"),
                Field(key="instrument", label="Instrument"),
                Field(key="note", label="Note"),
            ),
        ),
        Part(
            name="incidents",
            title="Incidents",
            path="incidents",
            many=True,
            meaning="What went wrong on the way, what was tried, what helped.",
            fields=(
                Field(key="day", label="Day", kind="day"),
                Field(key="kind", label="Kind", kind="choice", options=KINDS),
                Field(key="what", label="What happened", kind="long"),
                Field(key="tried", label="What was tried", kind="long"),
                Field(key="helped", label="What helped", kind="long"),
                Field(key="ended_with", label="Ended with firmware"),
                Field(key="found_in", label="", kind="kept"),
            ),
        ),
        Part(
            name="corrections",
            title="Corrections",
            path="corrections",
            many=True,
            meaning="What was changed after readers had seen it.",
            fields=(
                Field(key="day", label="Day", kind="day"),
                Field(key="text", label="What was corrected", kind="long"),
                Field(key="who", label="Who"),
            ),
        ),
        Part(
            name="reply",
            title="The maker's reply",
            path="reply",
            meaning="Dated and in the maker's own words; a reply, no veto.",
            fields=(
                Field(key="day", label="Day", kind="day"),
                Field(key="who", label="Who"),
                Field(key="text", label="Reply", kind="long"),
            ),
        ),
    )
}
# What the trade measures first; the rest is typed. Quantity, unit, what a claim of it promises. Common practice, no source.
BENCH_PRESETS = (
    ("mass of the pair", "g", "value"), ("mass, left", "g", "value"), ("mass, right", "g", "value"),
    ("mass, cleats and bolts", "g", "value"), ("stack height, axle centre to cleat interface", "mm", "value"),
    ("float", "deg", "value"), ("Q-factor", "mm", "value"), ("spindle length", "mm", "value"),
    ("cornering clearance", "deg", "value"), ("battery", "h", "at least"),
    ("charging time", "h", "at most"), ("start-up time", "s", "at most"),
)  # fmt: skip


def read_part(part: Part, rows: Sequence[Mapping[str, Any]]) -> Any:
    """What was typed as the document's own entry: a list for `many`, a table else, None for a table left empty.

    Raises
    ------
    BadSetup
        A number that is none; part, row and field are named.
    """
    read = [_row(part, row, i) for i, row in enumerate(rows, start=1) if any(_filled(f, row) for f in part.fields)]
    return read if part.many else read[0] if read else None


def typed(field: Field, entry: Mapping[str, Any]) -> Any:
    """A document's value as the form shows it: text, True or False, or a tuple of words."""
    value: Any = entry
    for key in field.key.split("."):
        value = (value or {}).get(key) if isinstance(value, Mapping) else None
    if field.kind == "yes":
        return bool(value)
    if field.kind == "some":
        return tuple(value or ())
    if field.kind == "numbers":
        return "; ".join(f"{number:.10g}" for number in value or ())
    if field.kind == "number":
        return "" if value is None or (value == 0 and field.key in ZERO_IS_NOTHING) else f"{value:.10g}"
    return "" if value is None else str(value)


ZERO_IS_NOTHING = frozenset({"row.resolution", "row.calibration", "row.setup"})


def _filled(field: Field, row: Mapping[str, Any]) -> bool:
    return field.kind not in ("choice", "kept") and bool(row.get(field.key))


def _row(part: Part, row: Mapping[str, Any], number: int) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for field in part.fields:
        where = f"{part.title}, {f'row {number}, ' if part.many else ''}{field.label.lower()}"
        value = _value(field, row.get(field.key), where)
        if value is None:
            continue
        place, *inner = field.key.split(".")
        if inner:
            out.setdefault(place, {})[inner[0]] = value
        else:
            out[place] = value
    return out


def _value(field: Field, sent: Any, where: str) -> Any:
    if field.kind == "some":
        return [word for word in sent if isinstance(word, str)] if isinstance(sent, list) else []
    text = sent.strip() if isinstance(sent, str) else ""
    if field.kind == "yes":
        return True if text else None
    if not text:
        return None
    if field.kind == "number":
        return number_of(text, where)
    if field.kind == "numbers":
        return [number_of(piece, where) for piece in re.split(r"[;\s]+", text) if piece]
    return text


def number_of(text: str, where: str) -> float:
    """A typed number, with point or comma. Raises BadSetup, naming the field."""
    plain = text.replace("−", "-").replace(",", ".").strip()
    if not re.fullmatch(r"[-+]?(\d{1,12}(\.\d*)?|\.\d+)", plain):
        raise BadSetup(f"{where} must be a number such as 310 or 14.35; got {text[:30]!r}.")
    return float(plain)
