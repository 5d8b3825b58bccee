"""The first screen in words: title block, headline, second sentence, one verdict line per device."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import html

from analysis.trial import Trial
from app.views import parts
from app.views.sensitivity import sensitivity_line
from app.wording import KIND_MEANS, counted, day_and_time, length, signed, span, unbroken, with_unit


def front(report: Mapping[str, Any], trial: Trial, *, request: html.Aside | None = None) -> html.Header:
    """What a reader takes in within ten seconds; `request` is what the page asks of whoever reads it, before the notes."""
    start = day_and_time(trial.start_utc)
    facts = [f"{counted(len(trial.labels), 'recording')} of one ride", length(trial.duration_s)]
    title = [html.Span(report.get("title") or "Trial", className="trial-title"), html.Span(" · ".join(facts))]
    if start:
        title.append(html.Time(start, dateTime=trial.start_utc))
    children: list[Any] = [
        html.P(title, className="title-block"),
        parts.headline(unbroken(report["headline"])),
    ]
    if report.get("second_sentence"):
        children.append(html.P(unbroken(report["second_sentence"]), className="second-sentence"))
    children += [verdict_lines(report, trial), request]
    if report.get("warnings"):
        notes = html.Ul([html.Li(sentence) for sentence in report["warnings"]])
        children.append(html.Div([html.Strong("To bear in mind"), notes], className="notice", role="note"))
    return html.Header(children, className="front")


def verdict_lines(report: Mapping[str, Any], trial: Trial) -> html.Div:
    """Per device: verdict, delta with its interval, allowance, and the same drawn to one scale."""
    entries = [entry for label in trial.labels[1:] if (entry := _main_entry(report, label))]
    limits = parts.range_limits(entries)
    lines = [_line(entry, report, trial, limits) for entry in entries]
    about = html.P(
        [
            "Held against ",
            parts.named(trial.reference, trial.labels),
            ", the reference: a choice, not a truth. The bar is the allowance; the dot is the difference, the "
            "line its 95 % interval.",
        ],
        className="held-against",
    )
    return html.Div([html.Ul(lines, className="verdict-lines"), about, sensitivity_line(report, trial.labels)])


def _main_entry(report: Mapping[str, Any], label: str) -> Mapping[str, Any] | None:
    """Held power decides; where none was held, every second that both cover."""
    own = {entry["kind"]: entry for entry in report["summary"] if entry["label"] == label}
    for kind in ("steady", "all"):
        if own.get(kind, {}).get("delta_pct") is not None:
            return own[kind]
    return own.get("all") or own.get("steady")


def _block_count(report: Mapping[str, Any], label: str, kind: str) -> str:
    """`5 of 14 held blocks outside`: what a pooled verdict may hide. Empty where it says nothing new."""
    kinds = {block["id"]: block["kind"] for block in report["blocks"]}
    own = [d for d in report["deltas"] if d["label"] == label and not d.get("excluded")]
    verdicts = [d["verdict"] for d in own if kind in ("all", kinds[d["block"]])]
    if len(set(verdicts)) < 2 and "outside" not in verdicts:
        return ""
    return f"; {verdicts.count('outside')} of {len(verdicts)} such blocks outside"


def _line(entry: Mapping[str, Any], report: Mapping[str, Any], trial: Trial, limits: tuple[float, float]) -> html.Li:
    delta = with_unit(signed(entry["delta_pct"]), "%")
    limits_text = f"95 % interval {span(entry['delta_pct_ci'])}; allowance {span(entry['allowance_pct'])}"
    small = f"{KIND_MEANS[entry['kind']]}: {limits_text}{_block_count(report, entry['label'], entry['kind'])}"
    return html.Li(
        [
            parts.named(entry["label"], trial.labels),
            parts.verdict_mark(entry["verdict"], entry.get("reason")),
            html.Span(delta, className="big-delta"),
            parts.range_mark(entry, limits),
            html.Span(small, className="small"),
        ]
    )
