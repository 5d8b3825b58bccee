"""`/trial/<id>?from=..&to=..`: progress while the comparison runs, then the report, showing what the address says."""

from __future__ import annotations

from typing import Any

import dash
from dash import dcc, html

from app import ids, showing
from app.screen import from_query


def register() -> None:
    """Add the page to the app that is being made."""
    dash.register_page("trial", path_template="/trial/<trial_id>", title=showing.title_of, name="Trial", layout=layout)


def layout(trial_id: str | None = None, **query: str) -> html.Div:
    """The page of one trial, its screen taken from the address."""
    if trial_id is None:
        return html.Div()
    screen = from_query(query)
    children: list[Any] = [
        dcc.Store(id=ids.TRIAL, data=trial_id),
        dcc.Store(id=ids.WINDOW, data=list(screen.window) if screen.window else None),
        dcc.Store(id=ids.VIEW, data=list(screen.view) if screen.view else None),
        dcc.Store(id=ids.SCREEN, data=screen.to_store()),
        dcc.Store(id=ids.EDIT_FORM),
        dcc.Store(id=ids.LINKS_FORM),
        dcc.Location(id=ids.LEAD, refresh=True),
        dcc.Store(id=ids.BLOCKS_FORM),
        dcc.Store(id=ids.FREEZE_FORM),
        dcc.Store(id=ids.HANDS_FORM),
        dcc.Store(id=ids.NOTES_FORM),
        dcc.Store(id=ids.NUDGE),
        dcc.Store(id=ids.POLL),
        dcc.Store(id=ids.REST_WANTED),
        dcc.Store(id=ids.PLAN_ASKED),
        html.Div(id=ids.PLAN_READ, hidden=True),
        html.Div(showing.first_view(trial_id, screen), id=ids.CONTENT),
        html.Div(id=ids.CHANGING),
    ]
    return html.Div(children)
