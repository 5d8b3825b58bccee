"""From uploaded files to a trial: the sheet with what is known of each file, and the trial that the sheet describes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from dash import html

from analysis.errors import CountercheckError
from analysis.reading.naming import clean_name
from analysis.setup import Setup, setup_from_toml
from app import ids
from app.forms import SheetEntries, device_for, entries_of, fields_of, setup_of
from app.intake import unique_names
from app.ride_plan import brought_by, read_list, texts_of
from app.services import Services, create_trial, get_services
from app.store import NewTrial
from app.views.frozen import html_text
from app.views.notices import problem
from app.views.plan_table import plan_row
from app.views.sheet import (
    RecordingFields,
    about_upload,
    blocks_first_choice,
    hidden,
    remembered_notice,
    setup_sheet,
    submit,
    two_powers,
)

Upload = Mapping[str, Any]


def sheet(uploads: Sequence[Upload], typed: SheetEntries, setup_text: str | None, *, setup_number: int = 0) -> Any:
    """The sheet for these files; nothing while there are none.

    For each field: what was typed, then a set-up file, what this browser remembers, a guess. A set-up file that has just
    come finds nothing typed (`assets/20-coming-in.js` sees to it by the number, which the form repeats), so that what it says
    stands.
    """
    if not uploads:
        return None
    setup, complaint = _read(setup_text)
    rows, reference, known = [], typed.reference, set()
    for upload in uploads:
        remembered = _remembered(upload, known)
        known |= {remembered.get(ids.LABEL)}
        values = _guesses(upload) | remembered | _seen_in_file(upload)
        values |= fields_of(device_for(setup, file=upload["name"], label=upload.get("label_guess")))
        values |= typed.rows.get(upload["id"], {})
        if not reference and setup.reference and values[ids.LABEL] == setup.reference:
            reference = upload["id"]
        both = two_powers(upload.get("channels"))
        about = about_upload(upload)
        rows.append(RecordingFields(key=upload["id"], name=upload["name"], about=about, values=values, two_powers=both))
    if reference not in {row.key for row in rows}:
        reference = None
    fields = setup_sheet(
        ids.NEW, rows, submit("Analyse", ids.ANALYSE, disabled=len(uploads) < 2), reference=reference,
        title=typed.title or setup.title, loss_pct=typed.loss if any(typed.loss) else setup.loss_pct,
        plan=texts_of(setup.plan) if typed.plan is None else typed.plan,
        before_button=[blocks_first_choice(chosen=typed.blocks_first), hidden(ids.SETUP_NUMBER, setup_number)],
    )  # fmt: skip
    head = "Change what is not right; what you leave open is said on the page."
    more = "Add at least one more recording of the same ride." if len(uploads) < 2 else ""
    notes = [html.P(text, className="hint") for text in (head, more) if text]
    recalled = remembered_notice([label for label in known if label])
    return html.Div([html.H2("Which device is which"), *notes, recalled, complaint, fields])


def start(services: Services, uploads: Sequence[Upload], entries: SheetEntries, setup_text: str | None) -> NewTrial:
    """Keep the trial that the sheet describes. Raises CountercheckError kinds, one sentence each."""
    names = unique_names([str(upload.get("name", "")) for upload in uploads])
    files = [(str(upload.get("id", "")), name) for upload, name in zip(uploads, names, strict=True)]
    given = _read(setup_text)[0]
    setup = replace(setup_of(files, entries, plan=given.to_dict()["plan"]), edits=given.edits, frozen_plan=given.frozen_plan)
    recordings = [{"id": key, "name": name} for key, name in files]
    return create_trial(services, recordings, setup, blocks_first=entries.blocks_first)


def plan_answer(asked: Any) -> str:
    """Rows of a ride plan as HTML, from a pasted list or a recording's id; or the sentence that says why there are none."""
    tree = asked if isinstance(asked, Mapping) else {}
    sent, text, key = (str(tree.get(name) or "") for name in ("sent", "text", "recording"))
    try:
        steps = _brought(key, str(tree.get("name") or "The recording")) if key else read_list(text)
    except CountercheckError as trouble:
        return html_text(html.Div(problem(str(trouble)), **{"data-plan-sent": sent, "data-failed": True}))
    return html_text(html.Div([plan_row(step) for step in steps], **{"data-plan-sent": sent}))


def _brought(recording_id: str, name: str) -> list[dict[str, str]]:
    return brought_by(get_services().store.recording(recording_id, clean_name(name)).facts, clean_name(name))


def uploads_of(data: Any) -> list[Upload]:
    """The uploads in the page's store; whatever a browser sent that is none is left out."""
    files = data.get("files") if isinstance(data, Mapping) else None
    sent = files if isinstance(files, list) else []
    return [f for f in sent if isinstance(f, Mapping) and all(isinstance(f.get(k), str) for k in ("id", "name"))]


def setup_number(data: Any) -> int:
    """How many set-up files had come when the page's store was written."""
    number = data.get("setup") if isinstance(data, Mapping) else None
    return number if isinstance(number, int) else 0


def typed_in(data: Any) -> SheetEntries:
    """What stood in the sheet when the files changed."""
    return entries_of(data.get("typed") if isinstance(data, Mapping) else None)


def _guesses(upload: Upload) -> dict[str, Any]:
    guesses = (ids.LABEL, "label_guess"), (ids.POINT, "point_guess"), (ids.FIRMWARE, "firmware_guess")
    return {part: upload.get(key) for part, key in guesses}


def _seen_in_file(upload: Upload) -> dict[str, Any]:
    """What a file states goes before what was said of its device another time: firmware changes."""
    return {ids.FIRMWARE: upload["firmware_guess"]} if upload.get("firmware_guess") else {}


def _remembered(upload: Upload, known: set[str]) -> dict[str, str]:
    """What this browser was told of the device before; a label that another file has already taken is left out."""
    said = entries_of({"rows": {"": upload.get("remembered")}}).rows.get("", {})
    kept = {part: text for part, text in said.items() if text and part != ids.SHIFT}
    return {part: text for part, text in kept.items() if part != ids.LABEL or text not in known}


def _read(setup_text: str | None) -> tuple[Setup, Any]:
    """The set-up file, or an empty set-up and the sentence that says what is wrong with it."""
    if not setup_text or not isinstance(setup_text, str):  # a browser can send what it likes
        return Setup(), None
    try:
        return setup_from_toml(setup_text), None
    except CountercheckError as trouble:
        return Setup(), problem(f"{trouble} The set-up file is left out.")
