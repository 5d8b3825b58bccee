"""Notes: numbered marks over the overlay, the list below it, and the owner's form.

Notes come as `app.store.Note`. All of it is text for `assets/10-frozen.js`; `assets/70-notes.js` places the marks and sends what
the owner wants.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from analysis.figures import MARGIN_PX
from app import ids
from app.noting import MAX_CHARS
from app.views.frozen import Native, html_text
from app.views.parts import stretch_text
from app.wording import day_and_time, from_to

MARK_CHARS = 80  # of a note's text in the tip of its mark
HELP = "Readers see it with a number on the chart. Choose the stretch on the overlay first, or pin it to the whole trial."


def note_layer(notes: Sequence[Any]) -> html.Div:
    """Over the chart: a number at the beginning of each note's stretch, and a line as long as it."""
    place = {"left": f"{MARGIN_PX['l']}px", "right": f"{MARGIN_PX['r']}px", "top": f"{MARGIN_PX['t']}px"}
    return html.Div(id=ids.NOTE_LAYER, className="note-layer", style=place, **{"data-html": marks_html(notes)})


def notes_panel(notes: Sequence[Any], *, owned: bool) -> html.Div:
    """Below the overlay: the list, for the owner with the form."""
    about = {"data-html": list_html(notes, owned=owned), "aria-label": "Notes"}
    listed = html.Section(id=ids.NOTES, className="notes", hidden=not notes and not owned, **about)
    return html.Div([listed, html.Div(id=ids.NOTES_PROBLEM)])


def marks_html(notes: Sequence[Any]) -> str:
    """The marks; the list says the same in words, so the marks themselves are for the eye and the pointer."""
    pieces = []
    for number, note in enumerate(notes, start=1):
        if note.from_s is None:
            continue
        data = {"data-from": note.from_s, "data-to": note.to_s, "hidden": True, "aria-hidden": "true"}
        tip = f"{from_to(note.from_s, note.to_s)}: {note.text[:MARK_CHARS]}"
        pieces.append(Native("span", {"class": "note-span", **data}))
        about = {"type": "button", "class": "note-mark", "tabindex": "-1", "title": tip, "data-note-mark": note.note_id}
        pieces.append(Native("button", {**about, **data}, str(number)))
    return html_text(pieces)


def list_html(notes: Sequence[Any], *, owned: bool) -> str:
    """Number, stretch, text and date of each note, then the form."""
    items = [_item(number, note, owned) for number, note in enumerate(notes, start=1)]
    head = html.H3("Notes", className="notes-title")
    none = html.P("No note yet.", className="small") if not notes else None
    return html_text([head, none, html.Ol(items, className="note-list"), _form() if owned else None])


def _item(number: int, note: Any, owned: bool) -> Native:
    written = html.Time(day_and_time(note.changed_utc), dateTime=note.changed_utc)
    changed = " (changed)" if note.changed_utc != note.created_utc else ""
    data = {"data-note": note.note_id, "data-version": note.version, "id": f"note-{note.note_id}", "tabindex": "-1"}
    if note.from_s is None:
        when: Any = html.Span("whole trial", className="note-when")
    else:
        edges = {"data-from": note.from_s, "data-to": note.to_s, "aria-label": f"Select {from_to(note.from_s, note.to_s)}"}
        about = {"type": "button", "class": "quiet note-when", "data-note-go": True, **edges}
        when = Native("button", about, stretch_text(note.from_s, note.to_s))
    tools = [_tool("edit", "Edit", number), _tool("remove", "Remove", number)] if owned else []
    meta = html.P([when, html.Span(["written ", written, changed], className="small"), *tools], className="note-meta")
    text = html.P(note.text, className="note-text")
    return Native("li", {"class": "note", **data}, [html.Span(str(number), className="note-number"), html.Div([text, meta])])


def _tool(act: str, words: str, number: int) -> Native:
    about = {"type": "button", "class": "quiet", "data-note-act": act, "aria-label": f"{words} note {number}"}
    return Native("button", about, words)


def _form() -> Native:
    area = {"id": "note-text", "name": "text", "rows": 3, "maxlength": MAX_CHARS, "aria-describedby": "note-help note-count"}
    box = {"type": "checkbox", "id": "note-pinned", "name": "pinned", "checked": True}
    name = html.Span("New note", className="field-name", id="note-form-name")
    return Native("form", {"class": "sheet note-form", "data-notes": True, "novalidate": True}, [
        html.Label([name, Native("textarea", area, "")], className="field wide"),
        html.P([html.Span(HELP, id="note-help"), " ", html.Span(f"0 of {MAX_CHARS}", id="note-count")], className="hint"),
        html.Label([Native("input", box), html.Span([" pin it to ", html.Span("the interval", id="note-stretch")])],
                   className="field reference-choice"),
        html.Div([
            Native("button", {"type": "submit", "class": "quiet", "id": "note-save"}, "Pin the note"),
            Native("button", {"type": "button", "class": "quiet", "id": "note-cancel", "hidden": True}, "Leave it as it was"),
            html.Span(className="small", role="status", id="note-said"),
        ], className="button-row"),
    ])  # fmt: skip
