"""One file per panel: ids in, one call, view out. Importing this registers all of them."""

from app.callbacks import (
    by_hand,
    clocks,
    coming_in,
    dossier,
    evidence,
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
    "by_hand", "clocks", "coming_in", "dossier", "evidence", "links", "notes", "owner", "planning", "ride_plan", "selection",
    "theme", "waiting",
]  # fmt: skip
