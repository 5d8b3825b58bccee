"""Trials and what they touched, the bench sheet, the time line of incidents."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from dash import html

from analysis.bench_sheet import Measured
from analysis.dossier.coverage import PROPERTIES, coverage_of
from analysis.dossier.document import BenchEntry, Dossier, Incident, TrialEntry
from app.links import trial_in
from app.views import parts
from app.views.frozen import frozen
from app.views.pictures import stacking_table
from app.wording import NOTHING, signed, span

STATE_MARKS = {"touched": "●", "partly": "◐", "missing": "○"}
ANSWER_MARKS = {"agrees": "●", "differs": "▲", "cannot tell": "◇"}


def evidence_section(number: int, dossier: Dossier, closed: frozenset[str] = frozenset()) -> html.Section:
    """Every trial in a row, then which properties and conditions all of them touched.

    closed : keys of trials that can no longer be opened.
    """
    meaning = (
        "A verdict is worth what its trials touched. The list of properties and conditions is that of an open review of 74 "
        "validation studies (doi 10.3390/s22010386)."
    )
    head = ("trial", "day", "who, unit, rig, where", "firmware", "held power, %", "95 % interval, %", "verdict of the trial")
    rows = [_trial(t, closed) for t in sorted(dossier.trials, key=lambda t: (t.day is None, t.day or ""))]
    table = stacking_table("Trials", head, rows, words=(1, 2, 3, 6), layout="by-line") if rows else None
    return parts.section(number, "evidence", "Evidence", meaning, frozen(table, _closed_words(closed), *_coverage(dossier)))


def _closed_words(closed: frozenset[str]) -> html.P | None:
    if not closed:
        return None
    one = len(closed) == 1
    words = (
        f"{'One trial' if one else f'{len(closed)} trials'} can no longer be opened here: deleted, or the link given for "
        f"{'it' if one else 'them'} has ended. The figures are those that were taken while it was possible; nobody can check "
        "them against the recordings now."
    )
    return html.P(words, className="small closed-trials")


def _trial(entry: TrialEntry, closed: frozenset[str]) -> tuple[Any, ...]:
    held = next((s for s in entry.digest["summary"] if s["kind"] == "steady"), None) or {}
    name = _name(entry, closed)
    if entry.key in closed:
        of_day = f"figures of {entry.taken}" if entry.taken else "figures of the day it was added"
        name = html.Span([entry.name, html.Span(f" {of_day}; no longer to be opened", className="small")])
    where = None if entry.where == "not stated" else entry.where
    varied = f"varied: {', '.join(entry.varied)}" if entry.varied else None
    who = [part for part in (entry.rider and f"rider {entry.rider}", entry.unit, entry.rig, where, varied, entry.note) if part]
    return (
        name,
        entry.day or NOTHING,
        "; ".join(who) or NOTHING,
        entry.digest["firmware"] or NOTHING,
        signed(held.get("delta_pct")),
        span(held.get("delta_pct_ci")),
        parts.verdict_mark(held.get("verdict")),
    )


def _name(entry: TrialEntry, closed: frozenset[str]) -> Any:
    there = trial_in(entry.link) and entry.key not in closed
    return html.A(entry.name, href=entry.link) if there else entry.name


def _coverage(dossier: Dossier) -> list[Any]:
    touched = coverage_of(dossier.trials)
    lists = []
    for title, chosen in (
        ("Properties", [t for t in touched if t.name in PROPERTIES]),
        ("Conditions", [t for t in touched if t.name not in PROPERTIES]),
    ):
        items = [
            html.Li(
                [
                    html.Span(STATE_MARKS[t.state], className="mark", **{"aria-hidden": "true"}),
                    html.Span([html.Strong(t.name), f": {t.state}; {t.why}. ", html.Span(t.missing, className="small")]),
                ],
                className=f"touched {t.state}",
            )
            for t in touched
            if t in chosen
        ]
        lists += [html.Div([html.H3(title), html.Ul(items)])]
    return [html.Div(lists, className="coverage")]


def bench_section(
    number: int, measured: Sequence[tuple[str, Measured]], entries: Sequence[BenchEntry], picture: Any
) -> html.Section:
    """Claimed against measured, drawn and as a table; several devices stand side by side by quantity."""
    meaning = (
        "What a balance and a caliper say. The interval holds how readings repeat, the instrument's smallest step, its "
        "calibration and the set-up (JCGM 100); a claim without tolerance can differ but not fail."
    )
    head = ("quantity", "device", "claimed", "measured", "±, 95 %", "readings", "En", "answer")
    rows = [_row(device, m, entry) for (device, m), entry in zip(measured, entries, strict=True)]
    table = stacking_table("Bench sheet", head, rows, words=(1, 7), layout="by-line")
    return parts.section(number, "bench", "Bench sheet", meaning, picture, frozen(table))


def _row(device: str, m: Measured, entry: BenchEntry) -> tuple[Any, ...]:
    unit = m.row.unit
    claimed = NOTHING if m.row.claimed is None else f"{m.row.claimed:g} {unit}"
    if m.row.claimed is not None and m.row.tolerance:
        claimed = f"{m.row.claimed:g} ± {m.row.tolerance:g} {unit}"
    if m.row.promise != "value" and m.row.claimed is not None:
        claimed = f"{m.row.promise} {claimed}"
    mean = f"≥ {m.mean:g} {unit}" if m.row.stopped_early else f"{_as_sure(m)} {unit}"
    read_with = entry.instrument and f"Read with: {entry.instrument}"
    said = " ".join(text if text.endswith(".") else f"{text}." for text in (m.reason, read_with, entry.note) if text)
    told = [] if m.answer is None else [html.Span(ANSWER_MARKS[m.answer], className="mark", **{"aria-hidden": "true"})]
    told += [] if m.answer is None else [f" {m.answer}. "]
    answer = html.Span([*told, html.Span(said, className="small")])
    return (
        m.row.quantity,
        device,
        claimed,
        mean,
        NOTHING if m.expanded is None else f"{m.expanded:.2g} {unit}",
        str(m.n),
        NOTHING if m.en is None else signed(m.en, 2),
        answer,
    )


def _as_sure(m: Measured) -> str:
    """The mean to the digit that its uncertainty reaches, one more where nothing is known of that."""
    if not m.expanded:
        return f"{m.mean:.5g}"
    digits = max(0, 1 - math.floor(math.log10(m.expanded)))
    return f"{m.mean:.{min(digits, 6)}f}"


def incidents_section(number: int, dossier: Dossier, closed: frozenset[str]) -> html.Section:
    """A time line of incidents, with the trials and the firmware they happened along; what has no day comes last."""
    meaning = "What went wrong on the way, what was tried and what helped. A device that reads true but drops out is not done."
    entries = [(i.day, _incident(i)) for i in dossier.incidents]
    entries += [(t.day, _along(t.day, "trial", _name(t, closed))) for t in dossier.trials if t.day]
    known = {i.day for i in dossier.incidents if i.kind == "firmware"}  # told there, with what came of it
    entries += [
        (f.since, _along(f.since, "firmware", f"{f.version}{f': {f.note}' if f.note else ''}"))
        for f in dossier.firmware
        if f.since and (f.note or f.since not in known)
    ]
    ordered = sorted(entries, key=lambda entry: (entry[0] is None, entry[0] or ""))
    line = html.Ol([shown for _, shown in ordered], className="time-line")
    return parts.section(number, "incidents", "Incidents", meaning, frozen(line))


def _along(day: str | None, kind: str, text: Any) -> html.Li:
    return html.Li(html.P([html.Time(day, dateTime=day), " ", html.Span(kind, className="tag"), " ", text]), className="along")


def _incident(incident: Incident) -> html.Li:
    more = [
        html.P([html.Strong(f"{word}: "), text])
        for word, text in (
            ("Tried", incident.tried),
            ("Helped", incident.helped),
            ("Ended with firmware", incident.ended_with),
            ("Found in the recording of", incident.found_in),
        )
        if text
    ]
    when = html.Time(incident.day, dateTime=incident.day) if incident.day else "no day"
    return html.Li(
        [html.P([when, " ", html.Span(incident.kind, className="tag")], className="small"), html.P(incident.what), *more]
    )
