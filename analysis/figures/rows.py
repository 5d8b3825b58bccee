"""What stands in the rows of the overlay: power lines, difference strips, block strip.

Each function adds one kind of row to a figure. Time in seconds, power in watts, difference in % of the reference.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analysis.figures.ink import LineStyle, Theme, faded, ink_of, line_style, plain_axis
from analysis.figures.thinning import Array, Thinned, running_difference_pct, samples_in, thin
from analysis.figures.ticks import percent_ticks, signed_text
from analysis.trial import Trial

MAX_STRIP_PCT = 40.0  # a strip scaled to a drop-out would hide every accuracy question

LETTERS = {"steady": "S", "transient": "T", "free": "F", "idle": "I", "gap": "G"}
HATCHING = {"steady": "", "transient": "/", "free": ".", "idle": "-", "gap": "x"}
LETTER_PX = 14  # a narrower block carries no letter; the table does


@dataclass(frozen=True, kw_only=True)
class Row:
    """One strip of the figure: its y axis and where it lies, as fractions of the plot height."""

    axis: str
    low_frac: float
    high_frac: float


def _layout_key(axis: str) -> str:
    return "yaxis" + axis[1:]


def draw_power(figure: go.Figure, trial: Trial, theme: Theme, view: tuple[float, float], row: Row, step_s: int) -> None:
    top_w, lines = 100.0, []
    for i, recording in enumerate(trial.recordings):
        style, meta = line_style(i, theme), {"label": recording.label, "kind": "power"}
        value = recording.channels.get("power_w", np.full(len(recording.time_s), np.nan))
        if step_s <= max(1.0, recording.interval_s):
            x, y = samples_in(recording.time_s, value, view, interval_s=recording.interval_s)
            highest = y
            lines.append(_line({"x": x.astype(np.float32)}, y, style, row.axis, meta))
        else:
            bins = thin(recording.time_s, value, view, step_s)
            highest = bins.highest
            _draw_range(figure, bins, style, recording.label)
            lines.append(_line({"x0": bins.first_s, "dx": bins.step_s}, bins.mean, style, row.axis, meta))
        if np.isfinite(highest).any():
            top_w = max(top_w, float(np.nanmax(highest)))
    # the reference last, so that its solid line stays readable on top of the others
    figure.add_traces(lines[1:] + lines[:1])
    axis = plain_axis(theme, domain=[row.low_frac, row.high_frac], range=[0, top_w * 1.04], nticks=6, anchor="x")
    figure.update_layout({_layout_key(row.axis): axis})


def _draw_range(figure: go.Figure, bins: Thinned, style: LineStyle, label: str) -> None:
    """Lowest to highest sample of each bin as a faint shade: a peak is never averaged out of the picture."""
    there = np.isfinite(bins.mean)
    for values, fill in ((bins.lowest, None), (bins.highest, "tonexty")):
        # filling breaks at NaN, so an empty bin closes the shade to nothing at zero height
        figure.add_scatter(
            x0=bins.first_s,
            dx=bins.step_s,
            y=np.where(there, values, 0.0).astype(np.float32),
            mode="lines",
            line={"width": 0, "shape": "hvh"},
            fill=fill,
            fillcolor=faded(style.colour, 0.13),
            hoverinfo="skip",
            meta={"label": label, "kind": "range"},
        )


def _line(x: dict[str, Any], y: Array, style: LineStyle, axis: str, meta: dict[str, str]) -> go.Scatter:
    return go.Scatter(
        **x,
        y=y.astype(np.float32),
        yaxis=axis,
        mode="lines",
        meta=meta,
        hoverinfo="skip",
        line={"color": style.colour, "dash": style.dash, "width": style.width_px},
        connectgaps=False,
    )


def draw_strips(
    figure: go.Figure,
    report: Mapping[str, Any],
    trial: Trial,
    theme: Theme,
    view: tuple[float, float],
    rows: list[Row],
    step_s: int,
) -> None:
    ink = ink_of(theme)
    reference_w = trial.per_second(trial.reference)
    wholes = {label: running_difference_pct(trial.per_second(label), reference_w) for label in trial.labels[1:]}
    bands = {a["label"]: a["worst_pct"] for a in report["allowances"] if a.get("worst_pct")}
    limits = _strip_limits(list(wholes.values()), list(bands.values()))
    ticks = percent_ticks(limits)
    for i, (label, row) in enumerate(zip(trial.labels[1:], rows, strict=True), start=1):
        style = line_style(i, theme)
        bins = thin(trial.second_s, wholes[label], view, step_s)
        if label in bands:
            low, high = bands[label]
            figure.add_shape(
                type="rect",
                xref="x domain",
                yref=row.axis,
                x0=0,
                x1=1,
                y0=low,
                y1=high,
                fillcolor=ink.band,
                line={"width": 0},
                layer="below",
                name=f"allowance {label}",
            )
            _draw_excess(figure, bins, low, high, style, row.axis)
        x = {"x0": bins.first_s, "dx": bins.step_s}
        figure.add_trace(_line(x, bins.mean, style, row.axis, {"label": label, "kind": "difference"}))
        axis = plain_axis(
            theme,
            domain=[row.low_frac, row.high_frac],
            range=limits,
            anchor="x",
            zeroline=True,
            zerolinecolor=ink.muted,
            zerolinewidth=1,
            tickmode="array",
            tickvals=ticks,
            ticktext=signed_text(ticks),
        )
        figure.update_layout({_layout_key(row.axis): axis})


def _strip_limits(differences: list[Array], bands: list[list[float]]) -> list[float]:
    """One scale for all strips: the bands and all but the wildest 6 % of the differences, at most +-`MAX_STRIP_PCT`."""
    seen = np.concatenate([d[np.isfinite(d)] for d in differences]) if differences else np.empty(0)
    edges = [-5.0, 5.0, *(edge for band in bands for edge in band)]
    if seen.size:
        edges += [float(q) for q in np.quantile(seen, (0.03, 0.97))]
    low, high = max(min(edges), -MAX_STRIP_PCT), min(max(edges), MAX_STRIP_PCT)
    pad = 0.06 * (high - low)
    return [low - pad, high + pad]


def _draw_excess(figure: go.Figure, bins: Thinned, low: float, high: float, style: LineStyle, axis: str) -> None:
    """Fill what lies beyond the allowance: the part of the ride that asks for an explanation."""
    for edge, beyond in ((high, np.fmax(bins.mean, high)), (low, np.fmin(bins.mean, low))):
        if not np.any(beyond != edge):
            continue
        for values, fill in ((np.full_like(beyond, edge), None), (beyond, "tonexty")):
            figure.add_scatter(
                x0=bins.first_s,
                dx=bins.step_s,
                y=values.astype(np.float32),
                yaxis=axis,
                mode="lines",
                line={"width": 0},
                fill=fill,
                fillcolor=faded(style.colour, 0.38),
                hoverinfo="skip",
            )


def draw_blocks(figure: go.Figure, blocks: list[Mapping[str, Any]], theme: Theme, view: tuple[float, float], row: Row) -> None:
    ink = ink_of(theme)
    seen = [b for b in blocks if b["end_s"] > view[0] and b["start_s"] < view[1]]
    start = np.array([max(b["start_s"], view[0]) for b in seen])
    width = np.array([min(b["end_s"], view[1]) for b in seen]) - start
    per_px_s = (view[1] - view[0]) / 800  # the chart on a desk screen; a phone hides what does not fit
    text = [_letter(b) if w > LETTER_PX * per_px_s else "" for b, w in zip(seen, width, strict=True)]
    figure.add_bar(
        orientation="h",
        base=start,
        x=width,
        y=[0] * len(seen),
        width=1,
        yaxis=row.axis,
        text=text,
        textangle=0,
        textposition="inside",
        insidetextanchor="middle",
        constraintext="none",
        hoverinfo="skip",
        meta={"kind": "blocks"},
        textfont={"color": ink.text, "size": 12},
        marker={
            "color": [ink.tone if b["kind"] == "steady" else "rgba(0,0,0,0)" for b in seen],
            "line": {"color": ink.muted, "width": 0.6},
            "pattern": {
                "shape": [HATCHING.get(b["kind"], "") for b in seen],
                "fgcolor": faded(ink.muted, 0.55),
                "size": 6,
                "solidity": 0.14,
                "fillmode": "overlay",
            },
        },
    )
    axis = plain_axis(
        theme, domain=[row.low_frac, row.high_frac], range=[-0.5, 0.5], showgrid=False, showticklabels=False, anchor="x"
    )
    figure.update_layout({_layout_key(row.axis): axis})


def _letter(block: Mapping[str, Any]) -> str:
    return block.get("letter") or LETTERS.get(block["kind"], "")
