"""From uploaded files to a trial: the sheet with what is known of each file, and the trial that the sheet describes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from dash import html

from analysis.errors import CountercheckError
from analysis.setup import Setup, setup_from_toml
from app import ids
from app.forms import SheetEntries, device_for, entries_of, fields_of, setup_of, with_unshown
from app.intake import unique_names
from app.services import Services, create_trial
from app.store import NewTrial
from app.views.notices import problem
from app.views.sheet import RecordingFields, about_upload, blocks_first_choice, setup_sheet, submit, two_powers

Upload = Mapping[str, Any]


def sheet(uploads: Sequence[Upload], typed: SheetEntries, setup_text: str | None) -> Any:
    """The sheet for these files; nothing while there are none.

    For each field: a set-up file first, then what was typed, what this browser remembers, a guess.
    """
    if not uploads:
        return None
    setup, complaint = _read(setup_text)
    rows, reference = [], typed.reference
    for upload in uploads:
        said = fields_of(device_for(setup, file=upload["name"], label=upload.get("label_guess")))
        values = _guesses(upload) | entries_of({"rows": {"": upload.get("remembered")}}).rows.get("", {})
        values |= said or typed.rows.get(upload["id"], {})
        if setup.reference and values[ids.LABEL] == setup.reference:
            reference = upload["id"]
        both = two_powers(upload.get("channels"))
        about = about_upload(upload)
        rows.append(RecordingFields(key=upload["id"], name=upload["name"], about=about, values=values, two_powers=both))
    if reference not in {row.key for row in rows}:
        reference = None
    loss = typed.loss if all(typed.loss) and not setup_text else setup.loss_pct
    button = submit("Analyse", ids.ANALYSE, disabled=len(uploads) < 2)
    title = setup.title or typed.title
    choice = blocks_first_choice(chosen=typed.blocks_first)
    fields = setup_sheet(ids.NEW, rows, button, reference=reference, title=title, loss_pct=loss, before_button=choice)
    head = "Change what is not right; what you leave open is said on the page."
    more = "Add at least one more recording of the same ride." if len(uploads) < 2 else ""
    plan = f"The ride plan of the set-up file ({len(setup.plan)} steps) is used." if setup.plan else ""
    notes = [html.P(text, className="hint") for text in (head, plan, more) if text]
    return html.Div([html.H2("Which device is which"), *notes, complaint, fields])


def start(services: Services, uploads: Sequence[Upload], entries: SheetEntries, setup_text: str | None) -> NewTrial:
    """Keep the trial that the sheet describes. Raises CountercheckError kinds, one sentence each."""
    names = unique_names([str(upload.get("name", "")) for upload in uploads])
    files = [(str(upload.get("id", "")), name) for upload, name in zip(uploads, names, strict=True)]
    given = _read(setup_text)[0]
    setup = replace(with_unshown(setup_of(files, entries, plan=given.to_dict()["plan"]), given), edits=given.edits)
    recordings = [{"id": key, "name": name} for key, name in files]
    return create_trial(services, recordings, setup, blocks_first=entries.blocks_first)


def uploads_of(data: Any) -> list[Upload]:
    """The uploads in the page's store; whatever a browser sent that is none is left out."""
    files = data.get("files") if isinstance(data, Mapping) else None
    sent = files if isinstance(files, list) else []
    return [f for f in sent if isinstance(f, Mapping) and all(isinstance(f.get(k), str) for k in ("id", "name"))]


def typed_in(data: Any) -> SheetEntries:
    """What stood in the sheet when the files changed."""
    return entries_of(data.get("typed") if isinstance(data, Mapping) else None)


def _guesses(upload: Upload) -> dict[str, Any]:
    guesses = (ids.LABEL, "label_guess"), (ids.POINT, "point_guess"), (ids.FIRMWARE, "firmware_guess")
    return {part: upload.get(key) for part, key in guesses}


def _read(setup_text: str | None) -> tuple[Setup, Any]:
    """The set-up file, or an empty set-up and the sentence that says what is wrong with it."""
    if not setup_text:
        return Setup(), None
    try:
        return setup_from_toml(setup_text), None
    except CountercheckError as trouble:
        return Setup(), problem(f"{trouble} The set-up file is left out.")
