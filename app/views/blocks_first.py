"""The trial page before any delta is shown: power, blocks, the owner's tools, and the button that freezes the blocks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.trial import Trial
from app import ids
from app.history import ByHand
from app.screen import Screen
from app.views import parts
from app.views.editing import block_layer, editing_panel
from app.views.frozen import Native, frozen, html_text
from app.views.notes import note_layer, notes_panel
from app.views.overlay import overlay_panel
from app.views.provenance import provenance
from app.views.sheet import submit
from app.views.tables import block_section
from app.wording import VIA_MEANS, counted, day_and_time, length, number, signed, with_unit

LEAD = (
    "Its owner chose to settle the blocks and exclusions before anyone sees how the devices compare. Until they are "
    "frozen, no difference between devices leaves the server: not on this page, not as a download, not for the owner."
)
FREEZE_WORDS = (
    "Check the blocks below, correct and exclude by hand, and give each exclusion its reason. Freezing keeps the date and a "
    "hash of the blocks, which every reader sees. The blocks can still be changed later, and readers are then told so."
)


def blocks_first_view(
    report: Mapping[str, Any],
    trial: Trial,
    *,
    screen: Screen,
    card: html.Div,
    hand: ByHand,
    notes: Sequence[Any] = (),
    owner_part: Any = None,
    figure: Any = None,
) -> html.Article:
    """Everything of a trial that may be seen while its deltas are hidden; `owner_part` is None for readers."""
    owned = owner_part is not None
    aside = html.Aside(
        id=ids.CARD, className="interval-card", **{"aria-label": "Selected interval", "data-html": html_text(card)}
    )
    meaning = (
        "The middle of all recordings, each brought to their common level: the trace from which the blocks were found. "
        "It says nothing of any single device."
    )
    layer = html.Div([block_layer(report["blocks"], owned=owned), note_layer(notes)])
    panel = overlay_panel(trial, screen, blocks=report["blocks"], layer=layer, figure=figure)
    overlay = html.Div([panel, aside], className="overlay-and-card")
    tools = editing_panel(report, hand, open=True) if owned else None
    return html.Article(
        [
            html.Div([frozen(_front(report, trial)), _freeze(hand) if owned else None]),
            owner_part,
            parts.section(1, "overlay-section", "Power and blocks", meaning, overlay, notes_panel(notes, owned=owned), tools),
            frozen(block_section(2, report, trial.labels, origin=provenance(report, hand)), _clocks(report)),
        ],
        className="report",
    )


def _front(report: Mapping[str, Any], trial: Trial) -> html.Header:
    # the middle of all is listed beside the recordings
    facts = [f"{counted(len(report['recordings']) - 1, 'recording')} of one ride", length(trial.duration_s)]
    title = [html.Span(report.get("title") or "Trial", className="trial-title"), html.Span(" · ".join(facts))]
    if trial.start_utc:
        title.append(html.Time(day_and_time(trial.start_utc), dateTime=trial.start_utc))
    return html.Header(
        [
            html.P(title, className="title-block"),
            html.H1("First the blocks: the deltas are not shown yet.", id="headline"),
            html.P(LEAD, className="lead"),
        ],
        className="front",
    )


def _freeze(hand: ByHand) -> html.Div:
    seen = Native("input", {"type": "hidden", "name": "seen", "value": str(hand.version)})
    button = submit("Freeze the blocks and show the deltas", ids.FREEZE)
    words = html.P(FREEZE_WORDS, className="hint")
    row = html.Div(button, className="button-row")
    form = Native("form", {"class": "freeze-form", "data-sheet": ids.FREEZE}, [seen, words, row])
    return html.Div([frozen(form), html.Div(id=ids.FREEZE_PROBLEM)], className="freeze-panel")


def _clocks(report: Mapping[str, Any]) -> html.Section:
    meaning = "What each recording's clock needs to agree with the others; blocks rest on it, deltas do not show in it."
    lines = []
    for entry in report["alignment"]:
        words = f"{with_unit(signed(entry['shift_s'], 2), 's')} (± {with_unit(number(entry['shift_se_s'], 2), 's')})"
        via = VIA_MEANS.get(entry["via"], entry["via"])
        settled = "settled" if entry["settled"] else "not settled: set it by hand in the set-up before you freeze"
        lines.append(html.Li([html.Strong(entry["label"]), f": {words}, from {via}; {settled}."]))
    return parts.section(3, "alignment", "Clocks", meaning, html.Ul(lines))
