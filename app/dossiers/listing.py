"""The dossiers whose keys this browser holds, and the form for a new one."""

from __future__ import annotations

from dash import html

from app import access, links
from app.services import get_services
from app.views.dossier.editing import new_dossier_form
from app.views.frozen import frozen
from app.wording import counted

WHAT = (
    "A verdict on a device rests on more than one ride. A dossier holds all about one device under review: its trials on "
    "different days, the bench sheet, what went wrong, each firmware, and your conclusion. It stays yours until you publish it."
)


def view() -> html.Div:
    """Heading, list, form."""
    own = get_services().store.dossiers.owned_by(access.held())
    items = [
        html.Li([html.A(d.dossier.title, href=links.dossier_path(d.address)), f" · {counted(len(d.dossier.trials), 'trial')}",
                 f" · changed {d.changed_utc[:10]}", " · not published" if d.private else ""])
        for d in own
    ]  # fmt: skip
    listed = frozen(html.H2("Yours, by this browser's keys"), html.Ul(items, className="plain-list")) if items else None
    front = html.Header(
        [html.P("All about one device", className="overline"), html.H1("Dossiers"), html.P(WHAT, className="lead")],
        className="front",
    )
    return html.Div([front, listed, html.H2("Start a dossier"), new_dossier_form()])
