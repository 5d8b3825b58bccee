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
from app.views.pictures import fold, stacking_table
from app.wording import signed

MOVED = "Moved when the trials were looked at again"


def method_section(number: int, dossier: Dossier, stand: Stand) -> html.Section:
    """Methods text, how the device was come by, and the checklist in a fold."""
    meaning = "Written from what was really done, so that somebody else can do it again."
    text = [html.P(p) for p in methods_text(dossier)]
    items = checklist_of(dossier, stand)
    known = sum(bool(i.known) for i in items)
    rows = [(f"{i.number}. {i.asks}", i.known or html.Em(f"Blank: {i.blank}")) for i in items]
    table = stacking_table("Reporting checklist", ("item", "what is known"), rows, words=(1,))
    checklist = fold(f"Reporting checklist for agreement studies: {known} of {len(items)} items known", table)
    body = frozen(*text, checklist)
    return parts.section(number, "method", "Method", meaning, body)


def corrections_section(number: int, dossier: Dossier, moved: Sequence[Moved]) -> html.Section | None:
    """What was corrected, verdicts that a newer analysis moved, and the maker's dated reply; None without any."""
    body: list[Any] = [_dated(c) for c in dossier.corrections]
    if moved:
        head = ("trial", "kind", "before, %", "now, %", "verdict before", "verdict now", "why")
        rows = [
            (m.trial, KIND_WORDS[m.kind], signed(m.before_pct), signed(m.after_pct), m.before, m.after, _why_moved(m))
            for m in moved
        ]
        body.append(stacking_table(MOVED, head, rows, words=(1, 4, 5, 6), layout="by-line"))
    if dossier.reply is not None:
        body += [html.H3("The maker's reply"), _dated(dossier.reply)]
    if not body:
        return None
    meaning = "What changed after readers had seen it, and what the maker says; a reply, no veto."
    return parts.section(number, "corrections", "Corrections and reply", meaning, frozen(*body))


def _why_moved(moved: Moved) -> str:
    before, now = moved.versions
    return "the trial itself was changed" if before == now else f"analysis version {before or 'unknown'} became {now}"


def _dated(entry: Dated) -> html.Div:
    who = f", {entry.who}" if entry.who else ""
    text = [html.P(line) for line in entry.text.splitlines() if line.strip()]
    return html.Div([html.P([html.Time(entry.day, dateTime=entry.day), who], className="small"), *text], className="dated")
