"""From uploaded files to a trial: the sheet with what is known of each file, and the trial that the sheet describes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.errors import CountercheckError
from analysis.setup import Setup, setup_from_toml
from app import ids
from app.forms import Rows, device_for, fields_of, setup_of
from app.intake import unique_names
from app.services import Services, create_trial
from app.store import NewTrial
from app.views.notices import problem
from app.views.sheet import NEW_SHEET, RecordingFields, about_upload, setup_sheet

Upload = Mapping[str, Any]


def sheet(uploads: Sequence[Upload], typed: Rows, setup_text: str | None) -> Any:
    """The sheet for these files; nothing while there are none.

    For each field: a set-up file first, then what was typed, what this browser remembers, a guess.
    """
    if not uploads:
        return None
    setup, complaint = _read(setup_text)
    rows, reference = [], None
    for upload in uploads:
        guessed = {
            ids.LABEL: upload.get("label_guess"),
            ids.POINT: upload.get("point_guess"),
            ids.FIRMWARE: upload.get("firmware_guess"),
        }
        said = fields_of(device_for(setup, file=upload["name"], label=upload.get("label_guess")))
        values = guessed | (upload.get("remembered") or {}) | said
        values |= {} if said else {part: v for part, v in typed.get(upload["id"], {}).items() if v not in (None, "")}
        if setup.reference and values[ids.LABEL] == setup.reference:
            reference = upload["id"]
        rows.append(RecordingFields(key=upload["id"], name=upload["name"], about=about_upload(upload), values=values))
    fields = setup_sheet(NEW_SHEET, rows, reference=reference, title=setup.title, loss_pct=setup.loss_pct)
    more = html.P("Add at least one more recording of the same ride.", className="hint") if len(uploads) < 2 else None
    button = html.Button(
        "Analyse", id=ids.ANALYSE, type="button", className="primary", n_clicks=0, disabled=len(uploads) < 2
    )
    head = html.Div(
        [html.H2("Which device is which"), html.P("Change what is not right; what you leave open is said on the page.")]
    )
    plan = f"The ride plan of the set-up file ({len(setup.plan)} steps) is used." if setup.plan else ""
    tail = [html.P(plan, className="hint"), more, complaint, html.Div([button], className="button-row")]
    return html.Div([head, fields, *tail, html.Div(id=ids.SHEET_PROBLEM)])


def start(
    services: Services,
    uploads: Sequence[Upload],
    rows: Rows,
    setup_text: str | None,
    reference: str | None,
    title: str | None,
    loss: tuple[Any, Any],
) -> NewTrial:
    """Keep the trial that the sheet describes. Raises CountercheckError kinds, one sentence each."""
    names = unique_names([str(upload.get("name", "")) for upload in uploads])
    files = [(str(upload.get("id", "")), name) for upload, name in zip(uploads, names, strict=True)]
    plan = _read(setup_text)[0].to_dict()["plan"]
    setup = setup_of(files, rows, reference=reference, title=title, loss=loss, plan=plan)
    return create_trial(services, [{"id": key, "name": name} for key, name in files], setup)


def _read(setup_text: str | None) -> tuple[Setup, Any]:
    """The set-up file, or an empty set-up and the sentence that says what is wrong with it."""
    if not setup_text:
        return Setup(), None
    try:
        return setup_from_toml(setup_text), None
    except CountercheckError as trouble:
        return Setup(), problem(f"{trouble} The set-up file is left out.")
