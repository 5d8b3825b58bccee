"""Colours and line styles of every picture, one palette per theme, and the plain template all figures share.

A device is told by colour and dash together, so that it survives a printer and any colour vision. `assets/01-paper.css`
repeats these values as CSS variables; a test holds the two together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import plotly.graph_objects as go

from analysis.errors import OutOfRange

Theme = Literal["light", "dark"]

# The reference is solid ink; the dashes follow the order of the devices.
# Each verdict by its shape, so that it is told apart without colour.
VERDICT_MARKERS = {"within": "circle", "outside": "triangle-up", "unsettled": "diamond-open"}
DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
SANS = "-apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', 'Liberation Sans', Arial, system-ui, sans-serif"


@dataclass(frozen=True, kw_only=True)
class Ink:
    """What one theme draws with; `series[0]` is the reference."""

    paper: str
    text: str
    muted: str
    rule: str
    band: str
    tone: str
    series: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class LineStyle:
    """How one recording is drawn everywhere."""

    colour: str
    dash: str
    width_px: float


# Okabe & Ito's colours (https://jfly.uni-koeln.de/color/); from the fifth on darkened (light) to keep 3:1 on the paper.
INKS: dict[str, Ink] = {
    "light": Ink(
        paper="#fdfcf9",
        text="#1d1f21",
        muted="#5c6166",
        rule="#dedbd2",
        band="rgba(31, 78, 95, 0.10)",
        tone="#e9e5da",
        series=("#1d1f21", "#d55e00", "#0072b2", "#009e73", "#b4588e", "#a87200", "#3b82ad"),
    ),
    "dark": Ink(
        paper="#16181b",
        text="#e8e6e1",
        muted="#a3a7ab",
        rule="#34383d",
        band="rgba(143, 199, 214, 0.14)",
        tone="#2b2f34",
        series=("#e8e6e1", "#e8762b", "#56b4e9", "#1fb58c", "#cc79a7", "#e69f00", "#f0e442"),
    ),
}


def ink_of(theme: Theme) -> Ink:
    """The palette of a theme. Raises OutOfRange for a theme that does not exist."""
    if theme not in INKS:
        raise OutOfRange(f"theme must be one of {', '.join(INKS)}; got {theme!r}.")
    return INKS[theme]


def line_style(index: int, theme: Theme) -> LineStyle:
    """Style of the recording at `index` in `Trial.labels`; 0 is the reference, then colours and dashes in turn."""
    series = ink_of(theme).series
    if index == 0:
        return LineStyle(colour=series[0], dash="solid", width_px=1.5)
    turn = (index - 1) % (len(series) - 1) + 1
    return LineStyle(colour=series[turn], dash=DASHES[1:][(index - 1) % (len(DASHES) - 1)], width_px=1.8)


def faded(colour: str, opacity: float) -> str:
    """`#rrggbb` as an rgba() text. [opacity 0 to 1]"""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red}, {green}, {blue}, {opacity:g})"


def blank_figure(theme: Theme, *, height_px: int, margin_px: dict[str, int]) -> go.Figure:
    """An empty figure on transparent paper with the theme's type; margins are exact, never grown by labels."""
    ink = ink_of(theme)
    figure = go.Figure()
    figure.update_layout(
        template="none",
        height=height_px,
        autosize=True,
        margin={**margin_px, "pad": 0, "autoexpand": False},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"family": SANS, "size": 12, "color": ink.muted},
        showlegend=False,
        hovermode=False,
        dragmode=False,
    )
    return figure


def plain_axis(theme: Theme, **more: object) -> dict[str, object]:
    """An axis with hairline grid and no frame; `more` overrides."""
    ink = ink_of(theme)
    axis: dict[str, object] = {
        "showline": False,
        "zeroline": False,
        "showgrid": True,
        "gridcolor": ink.rule,
        "gridwidth": 1,
        "ticks": "",
        "tickfont": {"size": 12, "color": ink.muted},
        "automargin": False,
        "fixedrange": True,
    }
    return {**axis, **more}
