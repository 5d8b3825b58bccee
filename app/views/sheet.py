"""The set-up sheet: label, measuring point, claim, firmware (and shift) per recording; reference, loss, title."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dash import dcc, html

from analysis.setup import DEFAULT_CLAIM_PCT, DEFAULT_LOSS_PCT, POINTS
from app import ids
from app.wording import channel_words, day_and_time, length

NOT_STATED = "not stated"
POINT_MEANS = {
    "pedal": "pedal",
    "crank": "crank",
    "spider": "spider",
    "hub": "hub",
    "trainer": "trainer (direct drive)",
    "roller": "roller (wheel-on)",
}


@dataclass(frozen=True, kw_only=True)
class SheetIds:
    """Ids of the fields that a sheet has once."""

    sheet: str
    reference: str
    title: str
    loss_low: str
    loss_high: str


NEW_SHEET = SheetIds(sheet=ids.NEW, reference=ids.REFERENCE, title=ids.TITLE, loss_low=ids.LOSS_LOW, loss_high=ids.LOSS_HIGH)
EDIT_SHEET = SheetIds(
    sheet=ids.EDIT,
    reference=ids.EDIT_REFERENCE,
    title=ids.EDIT_TITLE,
    loss_low=ids.EDIT_LOSS_LOW,
    loss_high=ids.EDIT_LOSS_HIGH,
)


@dataclass(frozen=True, kw_only=True)
class RecordingFields:
    """What one recording's row starts with; `key` is the recording's hash."""

    key: str
    name: str
    about: str = ""
    values: Mapping[str, Any]


def about_upload(upload: Mapping[str, Any]) -> str:
    """One line on what a file holds."""
    pieces = [day_and_time(upload.get("start_utc")), length(upload.get("duration_s") or 0)]
    pieces.append(", ".join(channel_words(c) for c in upload.get("channels") or ()))
    return " · ".join(p for p in pieces if p)


def setup_sheet(
    which: SheetIds,
    recordings: Sequence[RecordingFields],
    *,
    reference: str | None,
    title: str | None,
    loss_pct: Sequence[float] = DEFAULT_LOSS_PCT,
) -> html.Div:
    """All fields of a trial's set-up; `reference` is the key of the chosen recording."""
    rows = [_recording_row(which.sheet, fields) for fields in recordings]
    options = [{"label": fields.values.get(ids.LABEL) or fields.name, "value": fields.key} for fields in recordings]
    chosen = reference or (recordings[0].key if recordings else None)
    held = html.Fieldset(
        [
            html.Legend("Reference: the recording the others are held against"),
            dcc.RadioItems(id=which.reference, options=options, value=chosen, inline=True, className="choices"),
            html.P("A choice, not a truth. A good one: the device whose accuracy you trust most.", className="hint"),
        ]
    )
    ride = html.Fieldset(
        [
            html.Legend("The ride"),
            _labelled("Title", dcc.Input(id=which.title, value=title or "", maxLength=200, placeholder="for the page's head")),
            html.Div(
                [
                    _labelled("Drivetrain loss, from", _number(which.loss_low, loss_pct[0]), "%"),
                    _labelled("to", _number(which.loss_high, loss_pct[1]), "%"),
                ],
                className="field-row",
            ),
            html.P(
                "What the chain takes between pedals and hub or trainer. 1 to 5 % spans what is usual; narrow it "
                "if you have measured it.",
                className="hint",
            ),
        ]
    )
    return html.Div([*rows, held, ride], className="sheet")


def _recording_row(sheet: str, fields: RecordingFields) -> html.Fieldset:
    def at(part: str) -> dict[str, object]:
        return ids.field(sheet, part, fields.key)

    values = fields.values
    options = [{"label": POINT_MEANS[p], "value": p} for p in POINTS] + [{"label": NOT_STATED, "value": NOT_STATED}]
    point = html.Fieldset(
        [
            html.Legend("Measuring point"),
            dcc.RadioItems(id=at(ids.POINT), options=options, value=values.get(ids.POINT) or NOT_STATED, className="choices"),
        ],
        className="point-choice",
    )
    columns = [
        _labelled("Label", dcc.Input(id=at(ids.LABEL), value=values.get(ids.LABEL) or "", maxLength=60)),
        _labelled(
            "Claim, ±",
            _number(at(ids.CLAIM), values.get(ids.CLAIM), placeholder=f"{DEFAULT_CLAIM_PCT:g}"),
            "% of reading",
        ),
        _labelled("Firmware", dcc.Input(id=at(ids.FIRMWARE), value=values.get(ids.FIRMWARE) or "", maxLength=60)),
    ]
    if sheet == ids.EDIT:
        columns.append(_labelled("Shift by hand", _number(at(ids.SHIFT), values.get(ids.SHIFT), placeholder="found"), "s"))
    legend = html.Legend([html.Span(fields.name, className="file-name"), html.Span(f" {fields.about}", className="small")])
    return html.Fieldset([legend, html.Div(columns, className="field-row"), point], className="recording-row")


def _number(id_: Any, value: float | None, *, placeholder: str = "") -> dcc.Input:
    """A text field for a number: it keeps what was typed, so that a slip can be named rather than dropped."""
    text = "" if value is None else f"{value:g}" if isinstance(value, (int, float)) else str(value)
    return dcc.Input(id=id_, value=text, inputMode="decimal", maxLength=20, className="short", placeholder=placeholder)


def _labelled(name: str, control: Any, unit: str = "") -> html.Label:
    tail = [html.Span(unit, className="unit")] if unit else []
    return html.Label(
        [html.Span(name, className="field-name"), html.Span([control, *tail], className="with-unit")], className="field"
    )
