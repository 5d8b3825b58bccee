"""Any address that leads nowhere; dash finds this page by its name."""

from __future__ import annotations

import dash
from dash import html

from app.links import HOME


def register() -> None:
    """Add the page to the app that is being made."""
    dash.register_page("not_found_404", title="Nothing here · countercheck", layout=layout)


def layout(**_parts: str) -> html.Div:
    """What to do instead."""
    return html.Div(
        [
            html.P("Not found", className="overline"),
            html.H1("There is nothing at this address"),
            html.P("Check that the link is complete: a trial's address ends in a long row of letters and figures."),
            html.P(html.A("Start a new trial", href=HOME)),
        ],
        className="waiting",
    )
