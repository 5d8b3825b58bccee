"""A picture that is asked for when it is scrolled to or its fold is opened, and the table that says the same in figures.

Until then it is an empty box of its later height, so that nothing jumps. `assets/60-evidence.js` watches for
`data-seen`; `app/callbacks/evidence.py` answers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import zip_longest
from typing import Any

from dash import dcc, html

from app import ids
from app.views.cells import Cell, table_key
from app.views.frozen import frozen
from app.views.tables import scrolling

GRAPH_CONFIG = {"staticPlot": True, "displayModeBar": False}


def lazy_picture(name: str, height_px: int, *, caption: str, says: str, narrow: bool = False) -> html.Figure:
    """The box for the picture `name`; `says` is what a screen reader hears, and where the figures stand.

    narrow : a single small plot, which the whole width would only stretch.
    """
    box = html.Div(id={"type": ids.EVIDENCE, "index": name}, style={"minHeight": f"{height_px}px"}, **{"aria-hidden": "true"})
    return html.Figure(
        [box, dcc.Store(id={"type": ids.EVIDENCE_SEEN, "index": name}), html.Figcaption(caption, className="small")],
        className="evidence-picture narrow" if narrow else "evidence-picture",
        role="group",
        **{"aria-label": says, "data-evidence": name, "data-seen": ids.EVIDENCE_SEEN, "data-index": name},
    )


def drawn(figure: Any) -> dcc.Graph:
    """A figure as the component that fills the box."""
    return dcc.Graph(figure=figure, config=GRAPH_CONFIG, responsive=True, style={"height": f"{figure.layout.height}px"})


def plain_table(
    name: str,
    head: Sequence[Any],
    rows: Sequence[Sequence[Any]],
    *,
    words: Sequence[int] = (),
    marks: Sequence[Mapping[str, str]] = (),
) -> html.Div:
    """A table whose first column names the row; columns hold figures unless their place is in `words`.

    marks : per row its `data-*` attributes, such as the verdict by which a reader may filter.
    """

    def kind(place: int) -> str:
        return "" if place == 0 or place in words else "num"

    top = html.Tr([html.Th(title, scope="col", className=kind(i)) for i, title in enumerate(head)])
    body = [
        html.Tr([_head_cell(row[0]), *(_cell(c, className=kind(i)) for i, c in enumerate(row[1:], start=1))], **mark)
        for row, mark in zip_longest(rows, marks, fillvalue={})
    ]
    content = [html.Caption(name), html.Thead(top), html.Tbody(body)]
    return scrolling(html.Table(content, className="plain-table", **table_key(name)), name)


def stacking_table(
    name: str, head: Sequence[str], rows: Sequence[Sequence[Any]], *, words: Sequence[int], layout: str = ""
) -> html.Div:
    """A table whose rows are laid out as cards on a phone; its roles outlast that.

    layout : `by-line` for figures, a line for each; empty for sentences.
    """
    top = html.Tr([html.Th(title, scope="col", className="" if i in (0, *words) else "num") for i, title in enumerate(head)])
    body = []
    for row in rows:
        cells = [
            _cell(cell, role="cell", className="" if i in words else "num", **{"data-name": head[i]})
            for i, cell in enumerate(row[1:], start=1)
        ]
        body.append(html.Tr([_head_cell(row[0], role="rowheader"), *cells], role="row"))
    content = [html.Caption(name), html.Thead(top), html.Tbody(body, role="rowgroup")]
    css = f"plain-table stacking {layout}".strip()
    return scrolling(html.Table(content, className=css, role="table", **table_key(name)), name)


def _head_cell(cell: Any, **props: str) -> html.Th:
    shown, data = (cell.shown, cell.data) if isinstance(cell, Cell) else (cell, {})
    return html.Th(shown, scope="row", **props, **data)


def _cell(cell: Any, **props: str) -> html.Td:
    shown, data = (cell.shown, cell.data) if isinstance(cell, Cell) else (cell, {})
    return html.Td(shown, **props, **data)


def fold(summary: Any, *children: Any) -> html.Details:
    """Something to open, closed at first."""
    return html.Details([html.Summary(summary), *children], className="fold")


def subsection(title: Any, *children: Any) -> html.Div:
    """A titled part of a section; frozen parts and pictures side by side in order."""
    return html.Div([frozen(html.H3(title)), *children], className="subsection")
