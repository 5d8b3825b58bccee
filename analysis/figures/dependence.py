"""Difference of one device against power, cadence, torque, temperature, time and left share: one small plot each.

Reads the report's curves: the mark is a bin's mean, the tint its 95 % band, the shade the allowance. All plots of a device
share one scale, so that the quantity that moves the difference is the one whose line is not flat.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go

from analysis.figures.ink import LineStyle, Theme, faded
from analysis.figures.naming import row_difference
from analysis.figures.panels import Grid, add_panel, add_shade, bands_of, blank_grid, device_style, limits_around

COLUMNS = 3


def dependence_height_px(report: Mapping[str, Any], label: str) -> int:
    """Height of the picture for one device. [px]"""
    return _grid(curves_of(report, label)).height_px


def curves_of(report: Mapping[str, Any], label: str) -> list[Mapping[str, Any]]:
    """The report's curves of one device that hold a point."""
    return [c for c in report.get("curves") or () if c["label"] == label and c["x"]]


def dependence_picture(report: Mapping[str, Any], label: str, *, theme: Theme = "light") -> go.Figure | None:
    """Draw it for one device; None where the ride varied nothing enough to carry a curve."""
    curves = curves_of(report, label)
    if not curves:
        return None
    band = bands_of(report).get(label)
    shown = [v for c in curves for v in c["delta_pct"]] + _common([v for c in curves for v in (*c["low"], *c["high"])])
    limits = limits_around([*shown, *(band or ())])
    grid, (style, shape) = _grid(curves), device_style(report, label, theme)
    figure = blank_grid(grid, theme)
    for place, curve in enumerate(curves):
        title = {"text": f"{curve['against']} [{curve['unit']}]"}
        axes = add_panel(
            figure, grid, place, theme=theme, along={"title": title}, limits=limits, name=_name(report, label, place)
        )
        if band:
            add_shade(figure, axes, band, theme, name="allowance")
        curve_traces(figure, axes, curve, style, shape)
    return figure


def _grid(curves: list[Mapping[str, Any]]) -> Grid:
    return Grid(panels=max(len(curves), 1), columns=COLUMNS)


def _name(report: Mapping[str, Any], label: str, place: int) -> str:
    return row_difference(label, report["reference"], "%") if place == 0 else ""


def _common(edges: list[float]) -> list[float]:
    """All but the widest tenth of band edges: a bin of a few pieces must not set the scale."""
    ordered = sorted(edges)
    drop = len(ordered) // 20
    return ordered[drop : len(ordered) - drop]


def curve_traces(
    figure: go.Figure, axes: tuple[str, str], curve: Mapping[str, Any], style: LineStyle, shape: str
) -> None:
    """Tint from low to high, then line and marks."""
    on = {"xaxis": axes[0], "yaxis": axes[1]}
    tint = {"line": {"width": 0}, "mode": "lines", **on}
    figure.add_scatter(x=curve["x"], y=curve["low"], meta={"kind": "low", "against": curve["against"]}, **tint)
    figure.add_scatter(
        x=curve["x"], y=curve["high"], fill="tonexty", fillcolor=faded(style.colour, 0.22),
        meta={"kind": "high", "against": curve["against"]}, **tint,
    )  # fmt: skip
    figure.add_scatter(
        x=curve["x"], y=curve["delta_pct"], mode="lines+markers", meta={"kind": "delta", "against": curve["against"]},
        line={"color": style.colour, "dash": style.dash, "width": style.width_px},
        marker={"symbol": shape, "size": 6, "color": style.colour}, **on,
    )  # fmt: skip
