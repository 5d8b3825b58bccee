"""`/dossier`: this browser's dossiers and a new one. `/dossier/<address>`: one of them, read or worked on."""

from __future__ import annotations

import dash
from dash import dcc, html

from app import access, ids, links
from app.dossiers import listing, showing


def register() -> None:
    """Add both pages to the app that is being made."""
    dash.register_page("dossiers", path=links.DOSSIERS, title="Dossiers · countercheck", name="Dossiers", layout=start)
    template = f"{links.DOSSIERS}/<address>"
    dash.register_page("dossier", path_template=template, title=title_of, name="Dossier", layout=layout)


def start(**_query: str) -> html.Div:
    """The list and the form for a new dossier."""
    return html.Div([html.Div(listing.view(), id=ids.DOSSIER_CONTENT), *_stores(None)], className="home")


def layout(address: str | None = None, **_query: str) -> html.Div:
    """The page of one dossier."""
    if address is None:
        return html.Div()
    return html.Div([html.Div(showing.content(address), id=ids.DOSSIER_CONTENT), *_stores(address)])


def title_of(address: str | None = None) -> str:
    """What the browser's tab says."""
    found = access.stored_dossier(address) if address else None
    return f"{found.dossier.title} · countercheck" if found else "Dossier · countercheck"


def _stores(address: str | None) -> list:
    return [
        dcc.Store(id=ids.DOSSIER, data=address),
        dcc.Store(id=ids.DOSSIER_FORM),
        dcc.Store(id=ids.DOSSIER_LINKS_FORM),
        html.Div(id=ids.DOSSIER_SAID, **{"aria-live": "polite"}),
        dcc.Location(id=ids.DOSSIER_LEAD, refresh=True),
    ]
