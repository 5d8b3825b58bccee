"""What surrounds every page: skip link, head, theme switch."""

from __future__ import annotations

import dash
from dash import dcc, html

from app import ids
from app.links import DEMO, DOSSIERS, HOME, PLAN

PLACES = (("New trial", HOME), ("Plan a ride", PLAN), ("Dossiers", DOSSIERS), ("Built-in trial", DEMO))


def theme_switch() -> html.Button:
    """Turns the page from light to dark and back."""
    return html.Button("Light or dark", id=ids.THEME_SWITCH, type="button", className="quiet", n_clicks=0)


def shell() -> html.Div:
    """The frame around `dash.page_container`."""
    head = html.Div(
        [
            html.A("countercheck", href=HOME, className="wordmark"),
            html.Nav([html.A(name, href=path) for name, path in PLACES], **{"aria-label": "Site"}),
            theme_switch(),
        ],
        className="site-head",
        role="banner",
    )
    return html.Div(
        [
            html.A("Skip to content", href=f"#{ids.MAIN}", className="skip-link"),
            head,
            html.Main(dash.page_container, id=ids.MAIN, tabIndex="-1"),
            dcc.Store(id=ids.THEME),
        ],
        className="site",
    )
