"""Which picture of evidence a box asks for: ids in, figure out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from app import drawings, showing


def picture(trial_id: Any, name: Any, theme: Any) -> Any:
    """One picture by its box's id; None while there is no result, or for an id of no picture of this trial."""
    found = showing.open_trial(trial_id)
    index = name.get("index") if isinstance(name, Mapping) else None
    if found is None or not isinstance(index, str):
        return None
    return drawings.evidence(found, index, showing.theme_of(theme))
