"""How it was done: methods written from what was done, the reporting checklist; corrections and the maker's reply."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from analysis.dossier.document import Dated, Dossier
from analysis.dossier.methods import checklist_of, methods_text
from analysis.dossier.standing import KIND_WORDS, Moved, Stand
from app.views import parts
from app.views.frozen import frozen
from app.views.pictures import fold, plain_table
from app.wording import signed


def method_section(number: int, dossier: Dossier, stand: Stand) -> html.Section:
    """Methods text, how the device was come by, and the checklist in a fold."""
    meaning = "Written from what was really done, so that somebody else can do it again."
    ties = dossier.device.ties or "Nothing is stated about ties with the maker."
    text = [html.P(p) for p in methods_text(dossier)]
    items = checklist_of(dossier, stand)
    known = sum(bool(i.known) for i in items)
    rows = [(f"{i.number}. {i.asks}", i.known or html.Em(f"Blank: {i.blank}")) for i in items]
    table = plain_table("Reporting checklist", ("item", "what is known"), rows, words=(1,))
    checklist = fold(f"Reporting checklist for agreement studies: {known} of {len(items)} items known", table)
    body = frozen(*text, html.P([html.Strong("Ties. "), ties]), checklist)
    return parts.section(number, "method", "Method", meaning, body)


def corrections_section(number: int, dossier: Dossier, moved: Sequence[Moved]) -> html.Section | None:
    """What was corrected, verdicts that a newer analysis moved, and the maker's dated reply; None without any."""
    body: list[Any] = [_dated(c) for c in dossier.corrections]
    if moved:
        head = ("trial", "kind", "before, %", "now, %", "verdict before", "verdict now")
        rows = [(m.trial, KIND_WORDS[m.kind], signed(m.before_pct), signed(m.after_pct), m.before, m.after) for m in moved]
        body.append(plain_table("Moved by a newer analysis", head, rows, words=(1, 4, 5)))
    if dossier.reply is not None:
        body += [html.H3("The maker's reply"), _dated(dossier.reply)]
    if not body:
        return None
    meaning = "What changed after readers had seen it, and what the maker says; a reply, no veto."
    return parts.section(number, "corrections", "Corrections and reply", meaning, frozen(*body))


def _dated(entry: Dated) -> html.Div:
    who = f", {entry.who}" if entry.who else ""
    text = [html.P(line) for line in entry.text.splitlines() if line.strip()]
    return html.Div([html.P([html.Time(entry.day, dateTime=entry.day), who], className="small"), *text], className="dated")
