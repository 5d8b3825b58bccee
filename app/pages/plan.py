"""`/plan`: the ride plan's editor, `?copy=` beginning with a kept one; `/plan/<token>`: a kept plan."""

from __future__ import annotations

from typing import Any

import dash
from dash import dcc, html

from app import ids
from app.links import PLAN
from app.planning import access, looking
from app.planning.drafts import texts_of

TITLE = "Plan a ride · countercheck"


def register() -> None:
    """Add both pages to the app that is being made."""
    dash.register_page("plan", path=PLAN, title=TITLE, name="Plan a ride", layout=editor)
    dash.register_page("kept_plan", path_template=f"{PLAN}/<token>", title=TITLE, name="Ride plan", layout=kept)


def editor(copy: str | None = None, **_query: str) -> html.Div:
    """The editor; what a browser still holds of a draft comes later, from its script, unless a copy is asked for."""
    stored = access.stored_plan(copy)
    texts = texts_of(stored.design) if stored else looking.start_texts("whole")
    return _page(looking.editor_page(texts), begins="copy" if stored else "draft")


def kept(token: str | None = None, **_query: str) -> html.Div:
    """A kept plan as the one who asks may see it."""
    stored = access.stored_plan(token)
    if stored is None:
        return html.Div()
    return _page(looking.page_of(stored), token=stored.token, version=stored.version, begins="kept")


def _page(article: html.Article, *, begins: str, token: str | None = None, version: int = 0) -> html.Div:
    stores: list[Any] = [
        dcc.Store(id=ids.PLAN_TOKEN, data=token),
        dcc.Store(id=ids.PLAN_VERSION, data=version),
        *(dcc.Store(id=id_) for id_ in (ids.PLAN_TYPED, ids.PLAN_START, ids.PLAN_ACT, ids.PLAN_TAKE, ids.PLAN_TOLD)),
        dcc.Download(id=ids.PLAN_FILE),
        dcc.Location(id=ids.PLAN_GO, refresh=True),
    ]
    return html.Div([*stores, html.Div(article, id=ids.PLAN_BODY, **{"data-begins": begins})])
