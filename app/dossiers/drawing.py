"""The pictures of a dossier, by name."""

from __future__ import annotations

from typing import Any

from analysis.dossier.document import Dossier
from analysis.dossier.standing import stand_of
from analysis.figures import Theme, bench_picture, forest_picture
from app.dossiers.tables import bench_rows

PICTURES = ("forest", "bench")


def picture(dossier: Dossier, name: Any, theme: Theme) -> Any:
    """The plotly figure, or None where there is nothing to draw or no such picture."""
    if name == "forest":
        stand = stand_of(dossier.trials)
        return None if stand.shown is None else forest_picture(stand.shown, stand.shown_by_firmware, theme=theme)
    measured = bench_rows(dossier) if name == "bench" else []
    return bench_picture(measured, theme=theme) if measured else None
