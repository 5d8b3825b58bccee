"""A dossier's page as one file that needs no server: its views, styles, and pictures in both themes."""

from __future__ import annotations

from typing import Any

from dash import html

from analysis.dossier.document import Dossier
from analysis.dossier.standing import stand_of
from analysis.figures import INKS
from app import ids
from app.dossiers import drawing
from app.offline.markup import picture_name, pictures_in, standing
from app.offline.pictures import colour_changes, held_picture
from app.offline.report import one_file
from app.store import StoredDossier
from app.views.dossier.reading import reading_view

SCRIPTS = ("00-theme.js", "05-plotly-basic.min.js", "offline/10-alone.js", "offline/50-charts.js", "61-tables.js")


def page_as_file(found: StoredDossier, *, closed: frozenset[str] = frozenset()) -> str:
    """HTML of the reading page; `closed` are the keys of trials that cannot be opened any more.

    No link of a trial stands in it: whoever has the file need not have those.
    """
    dossier = found.dossier
    bare = Dossier(**{**vars(dossier), "trials": tuple(_without_link(t) for t in dossier.trials)})
    page = reading_view(bare, stand_of(bare.trials), changed_utc=found.changed_utc, address=None, closed=closed)
    tree = standing(html.Div(page))
    names = {picture_name({"type": ids.DOSSIER_PICTURE, "index": name}): name for name in drawing.PICTURES}
    drawn = {full: [drawing.picture(bare, names[full], ink) for ink in INKS] for full in pictures_in(tree)}
    pictures = {full: held_picture(*both) for full, both in drawn.items() if all(both)}
    return one_file(tree, title=dossier.title, data={"pictures": pictures, "colours": colour_changes()}, scripts=SCRIPTS)


def _without_link(entry: Any) -> Any:
    return type(entry)(**{**vars(entry), "link": None})
