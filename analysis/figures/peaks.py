"""Differences of best means from 1 s to 20 min, and of sprints: work and peaks. One small plot per device.

Reads the report only. Durations stand evenly spaced, because their ratios matter and not their distances. Upright strokes are
95 % intervals; at a sprint's peaks they hold what the place where seconds begin alone makes of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import plotly.graph_objects as go

from analysis.figures.ink import LineStyle, Theme, faded
from analysis.figures.naming import panel_difference
from analysis.figures.panels import Grid, add_panel, add_shade, bands_of, blank_grid, device_style, limits_around

MAX_COLUMNS = 2
ROOMY_TICKS, UNTOLD_S = 6, 15  # the table below tells of 15 s
DODGE = 0.13  # of the distance between two durations: work and peak of one duration stand side by side


def bests_height_px(report: Mapping[str, Any]) -> int:
    """Height of the picture of best means. [px]"""
    return _grid(_with(report, "bests", "values")).height_px


def sprints_height_px(report: Mapping[str, Any]) -> int:
    """Height of the picture of sprints. [px]"""
    return _grid(_with(report, "sprints", "work", "peaks")).height_px


def duration_text(duration_s: float) -> str:
    """`5 s`, `20 min`."""
    return f"{duration_s / 60:g} min" if duration_s >= 60 else f"{duration_s:g} s"


def bests_picture(report: Mapping[str, Any], *, theme: Theme = "light") -> go.Figure | None:
    """Best means, device minus reference in %, with the band of device noise; None where there are none."""
    entries = _with(report, "bests", "values")
    points = [v for e in entries for v in e["values"]]
    return _draw(report, entries, points, {"values": ("lines+markers", "delta_pct_ci", 0.0)}, theme)


def sprints_picture(report: Mapping[str, Any], *, theme: Theme = "light") -> go.Figure | None:
    """Work (filled, with its interval) and peaks (open, with the interval of phase); None where there are none."""
    entries = _with(report, "sprints", "work", "peaks")
    points = [v for e in entries for v in (*e["work"], *e["peaks"])]
    shown = {"work": ("markers", "delta_pct_ci", DODGE), "peaks": ("markers", "phase_ci_pct", -DODGE)}
    return _draw(report, entries, points, shown, theme)


def _with(report: Mapping[str, Any], name: str, *keys: str) -> list[Mapping[str, Any]]:
    return [e for e in report.get(name) or () if any(e[key] for key in keys)]


def _grid(entries: Sequence[Any]) -> Grid:
    return Grid(panels=max(len(entries), 1), columns=MAX_COLUMNS)


def _draw(
    report: Mapping[str, Any],
    entries: list[Mapping[str, Any]],
    points: list[Mapping[str, Any]],
    shown: Mapping[str, tuple[str, str, float]],
    theme: Theme,
) -> go.Figure | None:
    if not points:
        return None
    bands, durations = bands_of(report), sorted({p["duration_s"] for p in points})
    edges = [v for p in points for v in (p["delta_pct"], *(p.get("delta_pct_ci") or p.get("phase_ci_pct") or ()))]
    limits = limits_around([*edges, *(v for e in entries for v in bands.get(e["label"], ()))])
    ticks = {"tickvals": list(range(len(durations))), "ticktext": _ticks(durations)}
    along = {"title": {"text": "duration (″ s, ′ min)"}, "range": [-0.5, len(durations) - 0.5], **ticks}
    grid = _grid(entries)
    figure = blank_grid(grid, theme)
    for place, entry in enumerate(entries):
        label = entry["label"]
        name = panel_difference(label, report["reference"], "%")
        axes = add_panel(figure, grid, place, theme=theme, along=along, limits=limits, name=name)
        if label in bands:
            add_shade(figure, axes, bands[label], theme, name="allowance")
        style, shape = device_style(report, label, theme)
        for key, (mode, interval, dodge) in shown.items():
            symbol = f"{shape}-open" if key == "peaks" else shape
            _marks(figure, axes, entry[key], durations, mode, interval, dodge, style, symbol, {"kind": key, "label": label})
    return figure


def _marks(
    figure: go.Figure, axes: tuple[str, str], values: Sequence[Mapping[str, Any]], durations: Sequence[float], mode: str,
    interval: str, dodge: float, style: LineStyle, symbol: str, meta: Mapping[str, str],
) -> None:  # fmt: skip
    shown = [v for v in values if v["delta_pct"] is not None]
    limits = [v.get(interval) or (v["delta_pct"], v["delta_pct"]) for v in shown]
    figure.add_scatter(
        x=[durations.index(v["duration_s"]) + dodge for v in shown],
        y=[v["delta_pct"] for v in shown],
        xaxis=axes[0], yaxis=axes[1], mode=mode, meta=dict(meta),
        line={"color": style.colour, "dash": style.dash, "width": style.width_px},
        marker={"symbol": symbol, "size": 8, "color": style.colour, "line": {"width": 1.6, "color": style.colour}},
        error_y={
            "array": [high - v["delta_pct"] for (_, high), v in zip(limits, shown, strict=True)],
            "arrayminus": [v["delta_pct"] - low for (low, _), v in zip(limits, shown, strict=True)],
            "color": faded(style.colour, 0.6), "thickness": 1.4, "width": 3,
        },
    )  # fmt: skip


def _ticks(durations: Sequence[float]) -> list[str]:
    """Signs for the units, and of many durations not every one: they stand side by side on a phone."""
    texts = [f"{d / 60:g}′" if d >= 60 else f"{d:g}″" for d in durations]
    return [text if len(texts) <= ROOMY_TICKS or d != UNTOLD_S else "" for text, d in zip(texts, durations, strict=True)]
