"""What only the owner of a trial sees: the set-up sheet again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.setup import Setup
from app import ids
from app.forms import device_for, fields_of
from app.ride_plan import texts_of
from app.views.sheet import RecordingFields, hidden, setup_sheet, submit, two_powers


def owner_panel(
    files: Sequence[tuple[str, str]], setup: Setup, report: Mapping[str, Any] | None, *, version: int
) -> html.Details:
    """The folded sheet; `files` are (hash, name). The report, if any, fills in what the set-up left open.

    `version` is the set-up's, so that a second owner's change in the meantime is not undone unseen.
    """
    found = {entry["file"]: entry for entry in (report or {}).get("recordings", ())}
    rows, reference = [], None
    for sha256, name in files:
        entry = found.get(name, {})
        values = {ids.LABEL: entry.get("label"), ids.POINT: entry.get("point")}
        values |= fields_of(device_for(setup, file=name, label=entry.get("label")))
        if values[ids.LABEL] and values[ids.LABEL] == ((report or {}).get("reference") or setup.reference):
            reference = sha256
        both = two_powers(entry.get("channels")) or ids.POWER in values  # once chosen, the other is no channel any more
        rows.append(RecordingFields(key=sha256, name=name, values=values, two_powers=both))
    button = submit("Analyse again", ids.EDIT_SAVE)
    sheet = setup_sheet(
        ids.EDIT, rows, button, reference=reference, title=setup.title, loss_pct=setup.loss_pct, plan=texts_of(setup.plan),
        before_button=hidden("seen", version),
    )  # fmt: skip
    return html.Details(
        [
            html.Summary("Edit set-up"),
            html.P("Only you see this. Readers of the address see the result and may change nothing.", className="hint"),
            sheet,
            html.Div(id=ids.EDIT_PROBLEM),
        ],
        id=ids.OWNER_PANEL,
        className="owner-panel",
    )
