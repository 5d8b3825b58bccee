"""What a box of evidence asks for: ids in, the content of a section or a picture out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from app import drawings, showing
from app.screen import from_store
from app.views.chapters import Material
from app.views.evidence import content_of


def section(trial_id: Any, name: Any, wish: Any) -> Any:
    """The content of one section by its box's id; `wish` is the pair that its tables show. None where there is none."""
    index = name.get("index") if isinstance(name, Mapping) else None
    found = showing.open_trial(trial_id) if isinstance(index, str) else None
    if found is None:
        return None
    trial, report = found.trial, showing.pair_report(found, from_store(wish))
    return content_of(index, Material(report=report, labels=trial.labels, trial=trial), trial.reference)


def picture(trial_id: Any, name: Any, theme: Any) -> Any:
    """One picture by its box's id; None while there is no result, or for an id of no picture of this trial."""
    found = showing.open_trial(trial_id)
    index = name.get("index") if isinstance(name, Mapping) else None
    if found is None or not isinstance(index, str):
        return None
    return drawings.evidence(found, index, showing.theme_of(theme))
