"""The small marks every panel shares: numbered section, line sample, verdict mark, range mark, notices."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from app.wording import clock_text, signed, span, with_unit

# Word and shape together: no verdict is told by colour alone.
MARKS = {"within": "●", "outside": "▲", "unsettled": "◇"}
SERIES = 7  # how many line samples the style sheet holds; `analysis.figures` repeats its colours after as many


def section(number: int, name: str, title: str, meaning: str, *children: Any) -> html.Section:
    """One numbered section: its number stands in the margin, its meaning in two sentences below the title."""
    head = html.Div(
        [
            html.Span(str(number), className="section-number", **{"aria-hidden": "true"}),
            html.H2(title, id=f"{name}-title"),
            html.A("#", href=f"#{name}", className="section-link", **{"aria-label": f"Link to “{title}”"}),
            html.P(meaning, className="meaning"),
        ],
        className="section-head",
    )
    return html.Section([head, *children], id=name, className="section", **{"aria-labelledby": f"{name}-title"})


def headline(sentence: str) -> html.H1:
    """The first clause, which says what needs explaining, in full size; the others of the same sentence below it."""
    first, mark, rest = sentence.partition("; ")
    more = [html.Span(rest, className="headline-more")] if mark else []
    return html.H1([first + mark, *more], id="headline")


def devices_of(report: Mapping[str, Any], labels: Sequence[str]) -> list[str]:
    """Whom the tables show: everybody but whom they are held against, or the one that a reader has chosen."""
    if len(labels) == 1:
        return []
    return [label for label in report.get("shown") or labels if label != report["reference"]]


def line_sample(index: int) -> html.Span:
    """The stroke that draws the recording at `index` in the overlay."""
    turn = 0 if index == 0 else (index - 1) % (SERIES - 1) + 1
    return html.Span(className=f"line-sample series-{turn}", **{"aria-hidden": "true"})


def named(label: str, labels: Sequence[str]) -> html.Span:
    """A recording's label with its line sample."""
    index = labels.index(label) if label in labels else 0
    return html.Span([line_sample(index), html.Span(label, className="label-text")], className="named")


def named_once(entry: Mapping[str, Any], before: Mapping[str, Any] | None, labels: Sequence[str]) -> html.Span:
    """A device's name where its rows begin; further down for ears only, until the rows are put into another order."""
    shown = named(entry["label"], labels)
    return shown if before is None or before["label"] != entry["label"] else html.Span(shown, className="again hidden-text")


def verdict_mark(verdict: str | None, reason: str | None = None) -> html.Span:
    """Shape and word of a verdict, its reason as a tip."""
    if not verdict:
        return html.Span("–", className="verdict")
    mark = html.Span(MARKS.get(verdict, "◇"), className="mark", **{"aria-hidden": "true"})
    return html.Span([mark, verdict], className=f"verdict {verdict}", title=reason or "")


def range_mark(entry: Mapping[str, Any], limits: tuple[float, float]) -> html.Span:
    """Delta and its interval against the allowance, drawn on a scale from `limits[0]` to `limits[1]` percent."""
    low, high = limits
    pieces: list[Any] = [html.Span(className="zero", style={"left": _at(0.0, low, high)})]
    band = entry.get("allowance_pct")
    if band and None not in band:
        pieces.insert(0, html.Span(className="band", style=_stretch(band, low, high)))
    interval, delta = entry.get("delta_pct_ci"), entry.get("delta_pct")
    if interval and None not in interval:
        pieces.append(html.Span(className="whisker", style=_stretch(interval, low, high)))
    if delta is not None:
        pieces.append(html.Span(className="dot", style={"left": _at(delta, low, high)}))
    words = f"delta {with_unit(signed(delta), '%')}, allowance {with_unit(span(band), '%')}"
    return html.Span(pieces, className=f"range-mark {entry.get('verdict') or ''}", role="img", **{"aria-label": words})


def range_limits(entries: Sequence[Mapping[str, Any]]) -> tuple[float, float]:
    """One scale that holds every allowance and interval of `entries`, with room at both ends. [%]"""
    edges = [-2.0, 2.0]
    for entry in entries:
        for limits in (entry.get("allowance_pct"), entry.get("delta_pct_ci")):
            edges += [max(-60.0, min(60.0, edge)) for edge in limits or () if edge is not None]
    pad = 0.08 * (max(edges) - min(edges))
    return min(edges) - pad, max(edges) + pad


def notice(text: str, *, kind: str = "note") -> html.Div:
    """A sentence set apart: `note`, `caution` or `problem`; the word stands before it."""
    word = {"note": "Note", "caution": "Caution", "problem": "This did not work"}[kind]
    role = "alert" if kind == "problem" else "note"
    return html.Div([html.Strong(word + ". "), text], className=f"notice {kind}", role=role)


def stretch_text(start_s: float, end_s: float) -> html.Span:
    """From-to; a screen reader hears the word for the dash."""
    dash = [html.Span("–", **{"aria-hidden": "true"}), html.Span(" to ", className="hidden-text")]
    return html.Span([clock_text(start_s), *dash, clock_text(end_s)], className="stretch")


def _at(value: float, low: float, high: float) -> str:
    return f"{100 * (min(max(value, low), high) - low) / (high - low):.2f}%"


def _stretch(limits: Sequence[float], low: float, high: float) -> dict[str, str]:
    left, right = (min(max(edge, low), high) for edge in limits)
    return {"left": _at(left, low, high), "width": f"{max(100 * (right - left) / (high - low), 0.4):.2f}%"}


def owner_link(address: str, noun: str) -> html.Div:
    """An owner link to copy; it cannot be shown again."""
    return html.Div(
        [
            html.P(f"Keep this address to yourself: whoever opens it may change the {noun}. It is shown only once."),
            html.P(
                [
                    html.Code(address, className="owner-path"),
                    html.Button("Copy", type="button", className="quiet", **{"data-copy": address}),
                ]
            ),
        ],
        className="notice caution",
    )
