"""Names inside drawings, as short as a phone needs them: the page beside the drawing has them whole."""

from __future__ import annotations

import html
from typing import Any

from analysis.figures.ink import Theme, ink_of

# At 12 px a phone's chart of 290 px holds about fifty letters in a line, a plot of half its width about twenty.
ROW_LETTERS, PANEL_LETTERS = 14, 16
LINE_LETTERS = 54
BOTH_LETTERS = 14  # two labels that together are no longer than this stand beside each other over a plot


def shortened(name: str, letters: int) -> str:
    """The name, its end cut off with a mark where it is longer."""
    return name if len(name) <= letters else name[: letters - 1].rstrip(" ,") + "…"


def row_difference(label: str, reference: str, unit: str) -> str:
    """`pedals minus hub [%]`: name of a row as wide as the drawing."""
    return f"{shortened(label, ROW_LETTERS)} minus {shortened(reference, ROW_LETTERS)} [{unit}]"


def panel_difference(label: str, reference: str, unit: str) -> str:
    """Name of one plot of several side by side; with long labels it names the device only."""
    if len(label) + len(reference) <= BOTH_LETTERS:
        return f"{label} minus {reference} [{unit}]"
    return f"{shortened(label, PANEL_LETTERS)} [{unit}]"


def row_name(name: str, place: int, theme: Theme, *, bold: bool = False) -> dict[str, Any]:
    """A name above what is drawn at `place` of an upright axis that counts rows, from the left edge on."""
    words = html.escape(shortened(name, LINE_LETTERS))
    return {
        "text": f"<b>{words}</b>" if bold else words, "xref": "paper", "x": 0, "xanchor": "left", "yref": "y", "y": place,
        "yanchor": "bottom", "yshift": 5, "showarrow": False, "font": {"size": 12, "color": ink_of(theme).muted},
    }  # fmt: skip
