"""A picture that is asked for when it is scrolled to or its fold is opened, and the table that says the same in figures.

Until then it is an empty box of its later height, so that nothing jumps. `assets/60-evidence.js` watches for
`data-evidence`; `app/callbacks/evidence.py` answers.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from app import ids
from app.views.frozen import frozen
from app.views.tables import scrolling

GRAPH_CONFIG = {"staticPlot": True, "displayModeBar": False}


def lazy_picture(name: str, height_px: int, *, caption: str, says: str) -> html.Figure:
    """The box for the picture `name`; `says` is what a screen reader hears, and where the figures stand."""
    box = html.Div(id={"type": ids.EVIDENCE, "index": name}, style={"minHeight": f"{height_px}px"}, **{"aria-hidden": "true"})
    return html.Figure(
        [box, dcc.Store(id={"type": ids.EVIDENCE_SEEN, "index": name}), html.Figcaption(caption, className="small")],
        className="evidence-picture",
        role="group",
        **{"aria-label": says, "data-evidence": name},
    )


def drawn(figure: Any) -> dcc.Graph:
    """A figure as the component that fills the box."""
    return dcc.Graph(figure=figure, config=GRAPH_CONFIG, responsive=True, style={"height": f"{figure.layout.height}px"})


def plain_table(name: str, head: Sequence[Any], rows: Sequence[Sequence[Any]], *, words: Sequence[int] = ()) -> html.Div:
    """A table whose first column names the row; columns hold figures unless their place is in `words`."""

    def kind(place: int) -> str:
        return "" if place == 0 or place in words else "num"

    top = html.Tr([html.Th(title, scope="col", className=kind(i)) for i, title in enumerate(head)])
    body = [
        html.Tr([html.Th(row[0], scope="row"), *(html.Td(cell, className=kind(i)) for i, cell in enumerate(row[1:], start=1))])
        for row in rows
    ]
    return scrolling(html.Table([html.Caption(name), html.Thead(top), html.Tbody(body)], className="plain-table"), name)


def stacking_table(name: str, head: Sequence[str], rows: Sequence[Sequence[Any]], *, words: Sequence[int]) -> html.Div:
    """A table of sentences, whose rows are laid out as cards on a phone; its roles outlast that."""
    top = html.Tr([html.Th(title, scope="col", className="" if i in (0, *words) else "num") for i, title in enumerate(head)])
    body = []
    for row in rows:
        cells = [
            html.Td(cell, role="cell", className="" if i in words else "num", **{"data-name": head[i]})
            for i, cell in enumerate(row[1:], start=1)
        ]
        body.append(html.Tr([html.Th(row[0], scope="row", role="rowheader"), *cells], role="row"))
    parts = [html.Caption(name), html.Thead(top), html.Tbody(body, role="rowgroup")]
    return scrolling(html.Table(parts, className="plain-table stacking", role="table"), name)


def fold(summary: Any, *children: Any) -> html.Details:
    """Something to open, closed at first."""
    return html.Details([html.Summary(summary), *children], className="fold")


def subsection(title: Any, *children: Any) -> html.Div:
    """A titled part of a section; frozen parts and pictures side by side in order."""
    return html.Div([frozen(html.H3(title)), *children], className="subsection")
