"""Recordings' facts and health, alignment, how to read the page, cautions, downloads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.trial import Trial
from app.links import deltas_path, report_path, result_path, tables_path
from app.views import parts
from app.views.chapters import Chapter, Material
from app.views.facts import fact_lines
from app.views.health import health_list, without_health
from app.views.sheet import SIDES_MEAN
from app.wording import (
    NOTHING,
    channel_words,
    day_and_time,
    length,
    number,
    span,
    with_unit,
)


def recordings_section(
    number_: int, report: Mapping[str, Any], labels: Sequence[str], trial: Trial | None = None
) -> html.Section:
    """One card per recording: what the file says, and what was odd about it; `trial` places it on the trial's clock."""
    return RECORDINGS.section(number_, report, labels, trial)


def _cards(told: Material) -> list[Any]:
    starts_s = {r.label: float(r.time_s[0]) for r in told.trial.recordings} if told.trial else {}
    cards = [_recording(entry, told.labels, starts_s.get(entry["label"], 0.0)) for entry in told.report["recordings"]]
    return [html.Div(cards, className="record-cards")]


RECORDINGS = Chapter(
    name="recordings",
    title="Recordings",
    meaning=(
        "What each file says about itself and the device that wrote it. "
        "Warnings are about the recording, not about the device's accuracy."
    ),
    body=_cards,
)


def _recording(entry: Mapping[str, Any], labels: Sequence[str], start_s: float) -> html.Article:
    claim = with_unit(number(entry["claim_pct"]), "%")
    pairs = [
        ("file", html.Code(entry["file"])),
        ("measures at", entry["point"] or "not stated"),
        ("claim", f"± {claim} of reading"),
        *[(words, said) for words, said in _said(entry) if said],
        (
            "starts",
            html.Time(day_and_time(entry["start_utc"]), dateTime=entry["start_utc"]) if entry["start_utc"] else NOTHING,
        ),
        (
            "length",
            f"{length(entry['duration_s'])}, {entry['samples']} samples, one every {entry['interval_s']:g} s",
        ),
        ("carries", ", ".join(channel_words(c) for c in entry["channels"])),
        *fact_lines(entry.get("facts") or {}, start_s),
        ("SHA-256", html.Code(entry["sha256"][:16] + "…", title=entry["sha256"])),
    ]
    facts = [piece for name, value in pairs for piece in (html.Dt(name), html.Dd(value))]
    health = (entry.get("facts") or {}).get("health") or []
    warnings = [parts.notice(sentence) for sentence in without_health(entry.get("warnings") or (), health)]
    head = html.H3(parts.named(entry["label"], labels))
    return html.Article([head, html.Dl(facts, className="facts"), *warnings, health_list(health, start_s)])


def _said(entry: Mapping[str, Any]) -> tuple[tuple[str, str | None], ...]:
    """What the owner said of the device beyond point and claim."""
    sides = SIDES_MEAN.get(entry["sides"]) if entry.get("sides") else None
    return ("firmware", entry.get("firmware")), ("sides", sides), ("obtained", entry.get("obtained"))


def reading_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """What a verdict means, and what each allowance is made of."""
    meaning = (
        "A difference alone says little: two sound devices may differ by what their makers' claims and drivetrain loss "
        "allow. "
        "The verdict says whether the measured difference lies inside that range."
    )
    verdicts = (
        ("within", "the whole 95 % interval lies inside the allowance: claims and loss explain the difference."),
        ("outside", "the whole interval lies beyond it: something else is needed to explain the difference."),
        (
            "unsettled",
            "the interval straddles the edge, or is too wide to tell: a longer or calmer ride would settle it.",
        ),
    )
    lines = [html.Li([parts.verdict_mark(word), " ", text]) for word, text in verdicts]
    text = html.P(
        "The worst-case allowance adds every part at its end; the verdict rests on it. The likely allowance "
        "takes claims and loss "
        "as independent (JCGM 100, k = 2) and is narrower. Neither device is assumed right: a verdict is about "
        "the pair."
    )
    tables = [_allowance(entry, labels) for entry in report["allowances"]]
    return parts.section(
        number_,
        "reading",
        "How to read this",
        meaning,
        html.Ul(lines, className="verdict-key"),
        text,
        html.Div(tables, className="allowances"),
    )


def _allowance(entry: Mapping[str, Any], labels: Sequence[str]) -> html.Table:
    rows = [
        html.Tr([html.Th(part["name"], scope="row"), html.Td(span((part["low_pct"], part["high_pct"])), className="num")])
        for part in entry.get("parts") or ()
    ]
    for name, key in (("worst case", "worst_pct"), ("likely", "likely_pct")):
        total = [html.Th(name, scope="row"), html.Td(html.Strong(span(entry.get(key))), className="num")]
        rows.append(html.Tr(total, className="total"))
    caption = html.Caption(["Allowance of ", parts.named(entry["label"], labels), ", %"])
    return html.Table([caption, html.Tbody(rows)])


def cautions_section(number_: int, report: Mapping[str, Any]) -> html.Section:
    """Every caution the analysis gives, by topic."""
    meaning = (
        "Where the work can hurt someone, break something or mislead a reader. "
        "Please read them before repeating the ride or its measurements."
    )
    items = [
        html.Li([html.Strong(caution["topic"][:1].upper() + caution["topic"][1:] + ". "), caution["text"]])
        for caution in report["cautions"]
    ]
    return parts.section(number_, "cautions", "Cautions", meaning, html.Ul(items, className="cautions"))


def downloads_section(number_: int, trial_id: str) -> html.Section:
    """The result to take away."""
    meaning = (
        "Everything on this page, to keep and to send. The report is this page in one file: it opens from a disk, without a "
        "network, and can be scrubbed there as here."
    )
    files = (
        ("report.html", report_path, "the page itself, for readers without this address"),
        ("result.json", result_path, "the whole result, in full precision"),
        ("deltas.csv", deltas_path, "delta by block and device, the table of section 2"),
        ("tables.zip", tables_path, "every table as CSV, one file each"),
    )
    links = [html.Li([html.A(name, href=path(trial_id), download=name), f": {what}"]) for name, path, what in files]
    paper = html.Button("Print or save as PDF", type="button", className="quiet", **{"data-print": ""})
    return parts.section(number_, "downloads", "Take away", meaning, html.Ul(links, className="downloads"), paper)
