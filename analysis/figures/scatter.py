"""Bland-Altman picture: each held block's difference over the mean of the two, with bias and limits of agreement.

Reads the report only. Watts both ways. The limits' own intervals are tinted, because few blocks leave them wide; the
allowance is a share of the reference and therefore a wedge.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import plotly.graph_objects as go

from analysis.figures.ink import LineStyle, Theme, faded, ink_of
from analysis.figures.naming import panel_difference
from analysis.figures.panels import Grid, add_panel, bands_of, blank_grid, device_style, limits_around

MAX_COLUMNS = 2
# As the analysis does: a shorter block carries more sampling noise than agreement. [s]
MIN_BLOCK_S = 20.0
HELD = ("steady",)
RIDDEN = ("steady", "free", "transient")


def shown_agreements(report: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The entries that carry limits, in the report's order."""
    return [a for a in report.get("agreement") or () if a.get("limits_w")]


def scatter_height_px(report: Mapping[str, Any]) -> int:
    """Height of the picture. [px]"""
    return _grid(shown_agreements(report)).height_px


def block_points(report: Mapping[str, Any], entry: Mapping[str, Any]) -> list[tuple[float, float]]:
    """(mean of the two, device minus reference) of every block that the limits rest on. [W]"""
    kinds = HELD if entry.get("basis", "held blocks") == "held blocks" else RIDDEN
    blocks = {b["id"]: b for b in report["blocks"] if b["kind"] in kinds}
    points = []
    for delta in report["deltas"]:
        block = blocks.get(delta["block"])
        if block is None or delta["label"] != entry["label"] or delta["delta_w"] is None:
            continue
        start_s, end_s = block.get("interior_start_s"), block.get("interior_end_s")
        length_s = (end_s - start_s) if start_s is not None and end_s is not None else block["end_s"] - block["start_s"]
        if delta["n_s"] >= min(MIN_BLOCK_S, 0.5 * length_s):
            points.append(((delta["mean_w"] + delta["reference_mean_w"]) / 2, delta["delta_w"]))
    return points


def scatter_picture(report: Mapping[str, Any], *, theme: Theme = "light") -> go.Figure | None:
    """A plot per device; None where no device has enough blocks."""
    entries = shown_agreements(report)
    if not entries:
        return None
    bands, points = bands_of(report), [block_points(report, e) for e in entries]
    reach = _reach([x for own in points for x, _ in own])
    edges = [y for own in points for _, y in own] + [v for e in entries for v in _edges(e)]
    wedges = [_wedge(bands[e["label"]], reach) for e in entries if e["label"] in bands]
    limits = limits_around([*edges, *(y for wedge in wedges for y in wedge[1])])
    grid = _grid(entries)
    figure = blank_grid(grid, theme)
    for place, (entry, own) in enumerate(zip(entries, points, strict=True)):
        along = {"title": {"text": "mean of the two [W]"}, "range": list(reach)}
        name = panel_difference(entry["label"], report["reference"], "W")
        axes = add_panel(figure, grid, place, theme=theme, along=along, limits=limits, name=name)
        if entry["label"] in bands:
            _allowance(figure, axes, _wedge(bands[entry["label"]], reach), theme)
        style, shape = device_style(report, entry["label"], theme)
        _lines(figure, axes, entry, style, reach)
        figure.add_scatter(
            x=[x for x, _ in own], y=[y for _, y in own], mode="markers", xaxis=axes[0], yaxis=axes[1],
            meta={"kind": "blocks", "label": entry["label"]}, marker={"symbol": shape, "size": 8, "color": style.colour},
        )  # fmt: skip
    return figure


def _grid(entries: Sequence[Any]) -> Grid:
    return Grid(panels=max(len(entries), 1), columns=MAX_COLUMNS)


def _reach(means: list[float]) -> tuple[float, float]:
    """From zero, so that an offset and a gain look different. [W]"""
    return 0.0, 1.06 * max(means, default=300.0)


def _edges(entry: Mapping[str, Any]) -> list[float]:
    own = entry.get("limits_ci_w") or (entry["limits_w"],)
    return [value for limits in own for value in limits if value is not None]


def _wedge(band: Sequence[float], reach: tuple[float, float]) -> tuple[list[float], list[float]]:
    """The allowance in watts over the mean of the two: with D = R(1 + a), D - R = mean * a / (1 + a / 2)."""
    low, high = ((a / 100) / (1 + a / 200) for a in band)
    return [reach[0], reach[1], reach[1], reach[0]], [low * reach[0], low * reach[1], high * reach[1], high * reach[0]]


def _allowance(figure: go.Figure, axes: tuple[str, str], wedge: tuple[list[float], list[float]], theme: Theme) -> None:
    figure.add_scatter(
        x=wedge[0], y=wedge[1], fill="toself", fillcolor=ink_of(theme).band, line={"width": 0}, mode="lines",
        xaxis=axes[0], yaxis=axes[1], meta={"kind": "allowance"},
    )  # fmt: skip


def _lines(
    figure: go.Figure, axes: tuple[str, str], entry: Mapping[str, Any], style: LineStyle, reach: tuple[float, float]
) -> None:
    """Bias as a full line, limits dashed, the interval of each as a tint in the device's colour."""
    middle = [(entry["bias_w"], entry.get("bias_ci_w"), "solid", "bias")]
    ends = zip(entry["limits_w"], entry.get("limits_ci_w") or (None, None), strict=True)
    for level, interval, dash, kind in [*middle, *((v, ci, "dash", "limit") for v, ci in ends)]:
        if interval:
            figure.add_shape(
                type="rect", xref=f"{axes[0]} domain", yref=axes[1], x0=0, x1=1, y0=interval[0], y1=interval[1],
                fillcolor=faded(style.colour, 0.14), line={"width": 0}, layer="below", name=f"{kind} interval",
            )  # fmt: skip
        figure.add_scatter(
            x=list(reach), y=[level, level], mode="lines", xaxis=axes[0], yaxis=axes[1], meta={"kind": kind},
            line={"color": style.colour, "width": 1.4, "dash": dash},
        )  # fmt: skip
