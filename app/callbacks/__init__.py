"""One file per panel: ids in, one call, view out. Importing this registers all of them."""

from app.callbacks import (
    clocks,
    coming_in,
    dossier,
    editing,
    evidence,
    freezing,
    links,
    notes,
    owner,
    planning,
    ride_plan,
    selection,
    theme,
    waiting,
)

__all__ = [
    "clocks", "coming_in", "dossier", "editing", "evidence", "freezing", "links", "notes", "owner", "planning", "ride_plan",
    "selection", "theme", "waiting",
]  # fmt: skip
