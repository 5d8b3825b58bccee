"""A grid of small plots of equal size: axes, allowance shade, names. What the pictures of evidence share.

Difference in % of the reference upwards, or in watts; what lies along is each picture's own.
"""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import plotly.graph_objects as go

from analysis.figures.ink import LineStyle, Theme, blank_figure, ink_of, line_style, plain_axis

PANEL_PX, PANEL_GAP_PX = 150, 66
PANEL_MARGIN_PX = {"l": 44, "r": 8, "t": 24, "b": 42}
COLUMN_GAP_FRAC = 0.08
# Shape beside colour and dash, in the order of the devices; the reference has none to draw.
SHAPES = ("circle", "square", "diamond", "triangle-up", "pentagon", "hexagram")
MAX_SHOWN = 60.0  # a scale that holds a wilder figure would flatten every other; % or W


@dataclass(frozen=True, kw_only=True)
class Grid:
    """So many plots in so many columns."""

    panels: int
    columns: int

    @property
    def rows(self) -> int:
        return max(1, math.ceil(self.panels / self.columns))

    @property
    def height_px(self) -> int:
        """Of the whole figure. [px]"""
        return self.rows * (PANEL_PX + PANEL_GAP_PX) - PANEL_GAP_PX + PANEL_MARGIN_PX["t"] + PANEL_MARGIN_PX["b"]

    def box(self, place: int) -> tuple[tuple[float, float], tuple[float, float]]:
        """Left and right, low and high edge of one plot, as fractions of the plot area."""
        row, column = divmod(place, self.columns)
        width = (1 - COLUMN_GAP_FRAC * (self.columns - 1)) / self.columns
        left = column * (width + COLUMN_GAP_FRAC)
        total = self.rows * (PANEL_PX + PANEL_GAP_PX) - PANEL_GAP_PX
        top = total - row * (PANEL_PX + PANEL_GAP_PX)
        return (left, left + width), ((top - PANEL_PX) / total, top / total)


def signed_tick(tick: int) -> str:
    """`+5`, `−5`, `0`: a difference."""
    return f"{tick:+d}".replace("-", "−") if tick else "0"


def blank_grid(grid: Grid, theme: Theme) -> go.Figure:
    """The empty figure for a grid."""
    return blank_figure(theme, height_px=grid.height_px, margin_px=PANEL_MARGIN_PX)


def add_panel(
    figure: go.Figure, grid: Grid, place: int, *, theme: Theme, along: Mapping[str, Any], limits: Sequence[float], name: str,
    tick: Callable[[int], str] = signed_tick,
) -> tuple[str, str]:  # fmt: skip
    """Axes and name of one plot; `along` is laid over its lower axis, `tick` writes the upright one's figures.

    Gives the ids of its two axes for traces.
    """
    ink, suffix = ink_of(theme), "" if place == 0 else str(place + 1)
    (left, right), (low, high) = grid.box(place)
    below = plain_axis(theme, domain=[left, right], anchor=f"y{suffix}", nticks=4, tickangle=0, showgrid=False, showline=True)
    below |= {"linecolor": ink.rule, **along}
    below["title"] = {"font": {"size": 12, "color": ink.muted}, "standoff": 4, **(along.get("title") or {})}
    ticks = round_ticks(limits)
    beside = plain_axis(theme, domain=[low, high], anchor=f"x{suffix}", range=list(limits), zeroline=True)
    beside |= {"zerolinecolor": ink.muted, "tickvals": ticks, "ticktext": [tick(t) for t in ticks]}
    beside |= {"showticklabels": left == 0}
    figure.update_layout({f"xaxis{suffix}": below, f"yaxis{suffix}": beside})
    figure.add_annotation(
        text=html.escape(name), xref="paper", yref="paper", x=left, y=high, xanchor="left", yanchor="bottom", yshift=3,
        showarrow=False, font={"size": 12, "color": ink.muted},
    )  # fmt: skip
    return f"x{suffix}", f"y{suffix}"


def add_shade(figure: go.Figure, axes: tuple[str, str], limits: Sequence[float], theme: Theme, *, name: str) -> None:
    """A band across one plot, behind everything."""
    figure.add_shape(
        type="rect", xref=f"{axes[0]} domain", yref=axes[1], x0=0, x1=1, y0=limits[0], y1=limits[1],
        fillcolor=ink_of(theme).band, line={"width": 0}, layer="below", name=name,
    )  # fmt: skip


def limits_around(values: Iterable[float | None], *, least: float = 2.0) -> list[float]:
    """One scale that holds zero and all values up to `MAX_SHOWN`, with room at both ends."""
    edges = [-least, least, *(min(max(v, -MAX_SHOWN), MAX_SHOWN) for v in values if v is not None)]
    pad = 0.08 * (max(edges) - min(edges))
    return [min(edges) - pad, max(edges) + pad]


def round_ticks(limits: Sequence[float]) -> list[int]:
    """About five round ticks, zero among them."""
    step = next((s for s in (1, 2, 5, 10, 20, 50, 100) if (limits[1] - limits[0]) / s <= 5), 200)
    return list(range(math.ceil(limits[0] / step) * step, math.floor(limits[1]) + 1, step))


def device_style(report: Mapping[str, Any], label: str, theme: Theme) -> tuple[LineStyle, str]:
    """Line and shape that a device has in every picture: by its place among the recordings, the reference first."""
    devices = devices_of(report)
    place = devices.index(label) if label in devices else 0
    return line_style(place + 1, theme), SHAPES[place % len(SHAPES)]


def devices_of(report: Mapping[str, Any]) -> list[str]:
    """Labels of all recordings but the reference, in the report's order, which is the trial's."""
    return [r["label"] for r in report["recordings"] if r["label"] != report["reference"]]


def bands_of(report: Mapping[str, Any]) -> dict[str, list[float]]:
    """Worst-case allowance of each device, where there is one. [%]"""
    return {a["label"]: a["worst_pct"] for a in report.get("allowances") or () if a.get("worst_pct")}
