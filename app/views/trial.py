"""The whole trial page, put together from its panels, top to bottom."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from dash import html

from analysis.trial import Trial
from app import ids
from app.history import ByHand
from app.screen import Screen
from app.views.clock_request import clock_request
from app.views.clocks import clocks_section
from app.views.editing import block_layer, editing_panel
from app.views.evidence import Evidence, whole_sections
from app.views.front import front
from app.views.frozen import frozen, html_text
from app.views.hands import hands_panel
from app.views.notes import note_layer, notes_panel
from app.views.overlay import overlay_panel
from app.views.parts import section
from app.views.provenance import provenance
from app.views.record import (
    cautions_section,
    reading_section,
)
from app.views.tables import block_section


def trial_view(
    report: Mapping[str, Any],
    trial: Trial,
    *,
    screen: Screen,
    card: html.Div,
    hand: ByHand,
    rest: Any,
    notes: Sequence[Any] = (),
    owner_part: Any = None,
    figure: Any = None,
) -> html.Article:
    """What a reader sees; `rest` follows the overlay, `owner_part` holds the owner's sheet, None for readers."""
    labels, owned = trial.labels, owner_part is not None
    aside = html.Aside(
        id=ids.CARD,
        className="interval-card",
        **{"aria-label": "Selected interval", "data-html": html_text(card)},
    )
    meaning = (
        "All recordings on one clock, and below them how far each device lies from the reference. The shade is what the "
        "makers' claims and drivetrain loss can explain; what stands out of it asks for an explanation."
    )
    hands = hands_panel(report, labels) if owned else None
    layers = html.Div([block_layer(report["blocks"], owned=owned), note_layer(notes)])
    panel = overlay_panel(trial, screen, blocks=report["blocks"], layer=layers, figure=figure)
    left = html.Div([panel, hands], className="overlay-and-hands")
    overlay = html.Div([left, aside], className="overlay-and-card")
    tools = editing_panel(report, hand) if owned else None
    return html.Article(
        [
            frozen(front(report, trial, request=clock_request(report, labels, owned=owned))),
            owner_part,
            section(1, "overlay-section", "Overlay", meaning, overlay, notes_panel(notes, owned=owned), tools),
            html.Div(rest, id=ids.REST),
        ],
        className="report",
    )


def rest_of_page(
    report: Mapping[str, Any],
    trial: Trial,
    hand: ByHand,
    *,
    last: Callable[[int], html.Section],
    table: Sequence[Any] = (),
    evidence: Evidence = whole_sections,
) -> list[Any]:
    """The tables, the evidence and the record, below the overlay.

    last : makes the last section when told its number. table : stands in for a bare block table. evidence : `whole_sections`,
    or `awaited_sections` where a server fills them once they are seen.
    """
    labels = trial.labels
    sections, after = evidence(3, report, trial)
    return [
        block_section(2, report, labels, origin=frozen(provenance(report, hand)), table=table),
        *sections,
        clocks_section(after, report, labels),
        frozen(
            reading_section(after + 1, report, labels),
            cautions_section(after + 2, report),
            last(after + 3),
        ),
    ]
