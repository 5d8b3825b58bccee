"""Which picture of evidence a box asks for: ids in, figure out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.figures import bests_picture, dependence_picture, scatter_picture, sprints_picture
from app import showing
from app.views.agreement import SCATTER
from app.views.dependence import CURVES
from app.views.response import BESTS, SPRINTS

WHOLE = {SCATTER: scatter_picture, BESTS: bests_picture, SPRINTS: sprints_picture}


def picture(trial_id: Any, name: Any, theme: Any) -> Any:
    """One picture by its box's id; None while there is no result, or for an id of no picture of this trial."""
    found = showing.open_trial(trial_id)
    index = name.get("index") if isinstance(name, Mapping) else None
    if found is None or not isinstance(index, str):
        return None
    ink, (kind, _, place) = showing.theme_of(theme), index.partition(":")
    if index in WHOLE:
        return WHOLE[index](found.report, theme=ink)
    places = {str(i): label for i, label in enumerate(found.trial.labels) if i}
    return dependence_picture(found.report, places[place], theme=ink) if kind == CURVES and place in places else None
