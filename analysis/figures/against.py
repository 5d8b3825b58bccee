"""Held blocks against what might explain their difference: time, power, cadence. One row per device, one column each.

Reads the report dict only. A point is one steady block's delta in % of the reference with its 95 % interval; the shade is
the allowance. A difference that climbs along one axis and not along the others names its cause.
"""

from __future__ import annotations

import html
from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go

from analysis.figures.ink import VERDICT_MARKERS, Theme, blank_figure, faded, ink_of, line_style, plain_axis
from analysis.figures.naming import row_difference
from analysis.figures.ticks import clock_ticks, round_ticks, signed_text

ROW_PX, GAP_PX = 150, 58
AGAINST_MARGIN_PX = {"l": 44, "r": 8, "t": 24, "b": 40}
COLUMN_GAP_FRAC = 0.05
MAX_SHOWN_PCT = 60.0  # an interval wider than this says "unknown" as well as a wider one would
COLUMNS = (("time", "time [min]"), ("level_w", "power [W]"), ("cadence_rpm", "cadence [rpm]"))


def against_height_px(devices: int) -> int:
    """Height of the figure for so many devices beside the reference. [px]"""
    return devices * (ROW_PX + GAP_PX) - GAP_PX + AGAINST_MARGIN_PX["t"] + AGAINST_MARGIN_PX["b"]


def against(report: Mapping[str, Any], labels: tuple[str, ...], *, theme: Theme = "light") -> go.Figure:
    """Draw it for `labels` (the reference first, as `Trial.labels`); a device without held blocks keeps an empty row."""
    devices = labels[1:]
    figure = blank_figure(theme, height_px=against_height_px(len(devices)), margin_px=AGAINST_MARGIN_PX)
    points = {label: _held(report, label) for label in devices}
    bands = {a["label"]: a["worst_pct"] for a in report["allowances"] if a.get("worst_pct")}
    limits = _limits([p for held in points.values() for p in held], list(bands.values()))
    for row, label in enumerate(devices):
        for column, (key, title) in enumerate(COLUMNS):
            number = row * len(COLUMNS) + column + 1
            _panel(figure, points[label], key, number, row, len(devices), limits, bands.get(label), theme, title)
        _points(figure, points[label], row, line_style(row + 1, theme).colour)
        _name(figure, row_difference(label, labels[0], "%"), row, len(devices), theme)
    return figure


def _held(report: Mapping[str, Any], label: str) -> list[dict[str, Any]]:
    """One entry per steady block with a delta: where it lies on each axis, and the delta."""
    blocks = {b["id"]: b for b in report["blocks"] if b["kind"] == "steady"}
    found = []
    for delta in report["deltas"]:
        block = blocks.get(delta["block"])
        if block is None or delta["label"] != label or delta["delta_pct"] is None:
            continue
        limits = delta["delta_pct_ci"] or (delta["delta_pct"], delta["delta_pct"])
        found.append(
            {
                "time": (block["start_s"] + block["end_s"]) / 2,
                "level_w": delta["reference_mean_w"],
                "cadence_rpm": block.get("cadence_rpm"),
                "delta": delta["delta_pct"],
                "limits": limits,
                "verdict": delta["verdict"],
            }
        )
    return found


def _limits(points: list[dict[str, Any]], bands: list[list[float]]) -> list[float]:
    edges = [-2.0, 2.0, *(e for band in bands for e in band), *(p["delta"] for p in points)]
    low, high = max(min(edges), -MAX_SHOWN_PCT), min(max(edges), MAX_SHOWN_PCT)
    pad = 0.12 * (high - low)
    return [low - pad, high + pad]


def _rows(row: int, devices: int) -> tuple[float, float]:
    total = devices * (ROW_PX + GAP_PX) - GAP_PX
    top = total - row * (ROW_PX + GAP_PX)
    return (top - ROW_PX) / total, top / total


def _panel(
    figure: go.Figure, points: list[dict[str, Any]], key: str, number: int, row: int, devices: int,
    limits: list[float], band: list[float] | None, theme: Theme, title: str,
) -> None:  # fmt: skip
    """Axes and shade of one panel."""
    ink = ink_of(theme)
    suffix = str(number) if number > 1 else ""
    width = (1 - COLUMN_GAP_FRAC * (len(COLUMNS) - 1)) / len(COLUMNS)
    left = ((number - 1) % len(COLUMNS)) * (width + COLUMN_GAP_FRAC)
    ticks = round_ticks(limits)
    values = [p[key] for p in points if p[key] is not None]
    span = (max(values) - min(values)) or 1.0 if values else 1.0
    axis = plain_axis(
        theme, domain=[left, left + width], anchor=f"y{suffix}", nticks=3, tickangle=0, showgrid=False, showline=True
    )
    axis |= {"linecolor": ink.rule, "title": {"text": title, "font": {"size": 12, "color": ink.muted}, "standoff": 4}}
    if values:
        axis["range"] = [min(values) - 0.08 * span, max(values) + 0.08 * span]
    else:
        # plotly draws the axis line of a panel without points from NaN to NaN
        axis |= {"showline": False}
    if key == "time":
        ticks_s = clock_ticks(min(values), max(values), most=4) if values else []
        axis |= {"tickvals": ticks_s, "ticktext": [f"{t / 60:g}" for t in ticks_s]}
    figure.update_layout({f"xaxis{suffix}": axis})
    vertical = plain_axis(theme, domain=list(_rows(row, devices)), anchor=f"x{suffix}", range=limits, zeroline=True)
    vertical |= {"zerolinecolor": ink.muted, "tickvals": ticks, "showticklabels": left == 0, "ticktext": signed_text(ticks)}
    figure.update_layout({f"yaxis{suffix}": vertical})
    if band:
        figure.add_shape(
            type="rect", xref=f"x{suffix} domain", yref=f"y{suffix}", x0=0, x1=1, y0=band[0], y1=band[1],
            fillcolor=ink.band, line={"width": 0}, layer="below",
        )  # fmt: skip


def _points(figure: go.Figure, points: list[dict[str, Any]], row: int, colour: str) -> None:
    for column, (key, _) in enumerate(COLUMNS):
        number = row * len(COLUMNS) + column + 1
        shown = [p for p in points if p[key] is not None]
        figure.add_scatter(
            x=[p[key] for p in shown],
            y=[p["delta"] for p in shown],
            xaxis=f"x{number if number > 1 else ''}",
            yaxis=f"y{number if number > 1 else ''}",
            mode="markers",
            meta={"column": key},
            marker={"symbol": [VERDICT_MARKERS.get(p["verdict"], "diamond-open") for p in shown], "color": colour, "size": 8},
            error_y={
                "array": [p["limits"][1] - p["delta"] for p in shown],
                "arrayminus": [p["delta"] - p["limits"][0] for p in shown],
                "color": faded(colour, 0.55),
                "thickness": 1,
                "width": 0,
            },
        )


def _name(figure: go.Figure, text: str, row: int, devices: int, theme: Theme) -> None:
    figure.add_annotation(
        text=html.escape(text), xref="paper", yref="paper", x=0, y=_rows(row, devices)[1], xanchor="left",
        yanchor="bottom", yshift=3, showarrow=False, font={"size": 12, "color": ink_of(theme).muted},
    )  # fmt: skip
