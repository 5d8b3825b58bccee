"""`/`: what this is, where to drop the recordings, and the sheet that says which device is which."""

from __future__ import annotations

import dash
import flask
from dash import dcc, html

from app import access, ids
from app.links import DEMO, DRAFT, HOME
from app.planning import handing
from app.views.before_you_ride import cautions_here, privacy_words
from app.views.example import example
from app.views.own import own_trials_list

TITLE = "countercheck: does the device read true?"
WHAT = (
    "Ride once with several power devices recording at the same time, then drop their files here. countercheck "
    "puts them on one "
    "clock, cuts the ride into blocks, and says for each device whether it reads true, by how much it differs, "
    "and whether that is "
    "more than the makers' claims and the drivetrain can explain. Every figure comes with its 95 % interval, and "
    "the result is a "
    "page you can send to your readers."
)
STEPS = (
    (
        "Drop the recordings",
        "FIT, TCX, GPX or CSV, one file per device, two or more, all of the same ride; plain, as .gz or in a .zip. "
        "A setup.toml may come with them. A whole trial from another server (its everything.zip) opens as one of your own.",
    ),
    ("Say which is which", "Where on the bike each one measures and what its maker claims; guesses are filled in."),
    (
        "Read the page",
        "A headline, the overlay, and a table for every block. Share the address; only you can change it.",
    ),
)


def register() -> None:
    """Add the page to the app that is being made."""
    dash.register_page("home", path=HOME, title=TITLE, name="New trial", layout=layout)


def layout(plan: str | None = None, **_query: str) -> html.Div:
    """The empty page; scripts and callbacks fill list and sheet. `plan`: the ride plan that the sheet is to have, or DRAFT."""
    handed, drafted = handing.plan_for_sheet(plan), plan == DRAFT
    steps = [html.Li([html.Strong(name + ". "), text]) for name, text in STEPS]
    intro = html.Header(
        [
            html.P("A trial of power devices", className="overline"),
            html.H1("Does it read true?"),
            html.P(WHAT, className="lead"),
            html.P(html.A("See it on a built-in trial", href=DEMO, className="demo-link")),
        ],
        className="front",
    )
    drop = html.Div(
        [
            html.P("Drop your recordings here", className="drop-title"),
            html.P("several at once, at least two of the same ride", className="hint"),
            html.Div(id=ids.FILE_SLOT, className="button-row"),
        ],
        id="drop-zone",
        className="drop-zone",
    )
    own = own_trials_list(access.own_trials()) if flask.has_request_context() else None
    return html.Div(
        [
            html.Div([intro, example()], className="home-top"),
            html.Ol(steps, className="steps"),
            html.Div(handed and handed.notice, id=ids.PLAN_HANDED, **({"data-hand-draft": "yes"} if drafted else {})),
            drop,
            privacy_words(),
            html.Div(id=ids.FILE_LIST, className="file-list", role="list", **{"aria-label": "Files"}),
            html.P(id=ids.FILE_COUNT, className="small", role="status"),
            html.Div(id=ids.SHEET),
            html.Div(id=ids.SHEET_PROBLEM),
            own,
            cautions_here(),
            dcc.Store(id=ids.UPLOADS, data={"files": [], "typed": None}),
            dcc.Store(id=ids.SETUP_TEXT, data=handed and handed.setup_text),
            dcc.Store(id=ids.NEW_FORM),
            dcc.Store(id=ids.PLAN_ASKED),
            dcc.Store(id=ids.PLAN_DRAFT),
            html.Div(id=ids.PLAN_READ, hidden=True),
            dcc.Location(id=ids.GO, refresh=True),
        ],
        className="home",
    )
