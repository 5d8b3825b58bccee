"""Near the top of the page: clocks that are not settled, or that were set by hand. Owners get the shifts to try."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from app.views import parts
from app.views.clock_words import Proposal, is_matched, proposals
from app.views.frozen import Native
from app.wording import signed, with_unit


def clock_request(report: Mapping[str, Any], labels: Sequence[str], *, owned: bool) -> html.Aside | None:
    """The panel, or None where every clock was settled by the signals."""
    devices = [e for e in report["alignment"] if e["label"] != report["reference"]]
    open_ones = [e for e in devices if not e["settled"]]
    by_hand = [e for e in devices if e["settled"] and e["via"] == "manual"]
    if not open_ones and not by_hand:
        return None
    children: list[Any] = []
    if open_ones:
        children.append(html.H2("A clock is not settled" if len(open_ones) == 1 else "Clocks are not settled"))
        children += [_asked(entry, labels) if owned else _told(entry, labels) for entry in open_ones]
    children += [_hand(entry, labels) for entry in by_hand]
    return html.Aside(
        children, className="clock-request" + (" open" if open_ones else ""), **{"aria-label": "State of the clocks"}
    )


def _told(entry: Mapping[str, Any], labels: Sequence[str]) -> html.P:
    return html.P(
        [
            parts.named(entry["label"], labels),
            ": several shifts fit about equally well" if is_matched(entry) else ": no signal in it matches the reference's",
            ", so the shift in use is a try and not a finding. Short blocks, sprints and peaks of this device may be wrong by "
            "it; long held blocks depend on it least. ",
            html.A("What each signal said", href="#alignment"),
        ]
    )


def _asked(entry: Mapping[str, Any], labels: Sequence[str]) -> html.Div:
    ask = html.P(
        [
            parts.named(entry["label"], labels),
            ": several shifts fit about equally well. " if is_matched(entry) else ": no signal in it matches the reference's. ",
            "Please look: try a shift, see on the overlay whether its line falls onto the reference's, nudge it by tenths of a "
            "second, and keep the one that fits.",
        ]
    )
    return html.Div([ask, html.Ul([_proposal(entry["label"], p) for p in proposals(entry)], className="proposals")])


def _proposal(label: str, proposal: Proposal) -> html.Li:
    use = {"type": "button", "class": "quiet", "data-clock-use": label, "data-value": repr(float(proposal.shift_s))}
    words = f"use {with_unit(signed(proposal.shift_s, 1), 's')}"
    return html.Li([Native("button", use, words), html.Span(f" {proposal.words}", className="small")])


def _hand(entry: Mapping[str, Any], labels: Sequence[str]) -> html.P:
    return html.P(
        [
            "The clock of ",
            parts.named(entry["label"], labels),
            f" was set by hand, {with_unit(signed(entry['shift_s'], 2), 's')}. ",
            html.A("What the signals say", href="#alignment"),
        ],
        className="small",
    )
