"""The overlay: power of all recordings, one difference strip per device, the block strip, on one time axis.

Reads the report dict and the aligned trial, gives a plotly figure with at most `MAX_POINTS` points per line for the part
of the ride in view. Time in seconds on the reference's clock; difference in % of the reference.
"""

from __future__ import annotations

import html
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analysis.errors import OutOfRange
from analysis.figures.ink import LineStyle, Theme, blank_figure, faded, ink_of, line_style, plain_axis
from analysis.figures.thinning import RUNNING_S, Array, Thinned, running_difference_pct, thin
from analysis.trial import Trial

# The page lays its selection layer over exactly this box: `assets/20-scrub.css` repeats left and right.
MARGIN_PX = {"l": 44, "r": 8, "t": 24, "b": 30}
POWER_PX, STRIP_PX, LOW_STRIP_PX, BLOCKS_PX, GAP_PX = 250, 92, 64, 26, 30
ROOMY_STRIPS = 3  # with more devices than this each strip gets lower

MIN_VIEW_S = 20.0  # closer than this there is nothing between two seconds to see
MAX_STRIP_PCT = 40.0  # a strip scaled to a drop-out would hide every accuracy question

LETTERS = {"steady": "S", "transient": "T", "free": "F", "idle": "I", "gap": "G"}
HATCHING = {"steady": "", "transient": "/", "free": ".", "idle": "-", "gap": "x"}
LETTER_PX = 12  # a narrower block carries no letter; the table does


@dataclass(frozen=True, kw_only=True)
class _Row:
    """One strip of the figure: its y axis and where it lies, as fractions of the plot height."""

    axis: str
    low_frac: float
    high_frac: float


def height_px(devices: int) -> int:
    """Height of the overlay for so many devices beside the reference. [px]"""
    strip = STRIP_PX if devices <= ROOMY_STRIPS else LOW_STRIP_PX
    return POWER_PX + devices * (strip + GAP_PX) + GAP_PX + BLOCKS_PX + MARGIN_PX["t"] + MARGIN_PX["b"]


def clamp_view(view: tuple[float, float] | None, trial: Trial) -> tuple[float, float]:
    """The part of the trial to draw: inside the trial, at least `MIN_VIEW_S` long; the whole trial for None. [s]"""
    whole = (trial.start_s, trial.end_s)
    if view is None or not all(math.isfinite(edge) for edge in view) or view[1] <= view[0]:
        return whole
    span_s = min(max(view[1] - view[0], MIN_VIEW_S), whole[1] - whole[0])
    middle_s = (view[0] + view[1]) / 2
    start_s = min(max(middle_s - span_s / 2, whole[0]), whole[1] - span_s)
    return start_s, start_s + span_s


def overlay(
    report: Mapping[str, Any], trial: Trial, *, theme: Theme = "light", view: tuple[float, float] | None = None
) -> go.Figure:
    """Draw the overlay of `view` (seconds, None for the whole trial).

    `layout.meta` carries the view, the bin width and, per line, its label, so that the page can read values under the
    cursor. Raises OutOfRange for an unknown theme or a report of another trial.
    """
    missing = set(trial.labels) - {r["label"] for r in report["recordings"]}
    if missing:
        raise OutOfRange(f"The report says nothing of {', '.join(sorted(missing))}; it belongs to another trial.")
    view = clamp_view(view, trial)
    devices = trial.labels[1:]
    rows = _rows(len(devices))
    figure = blank_figure(theme, height_px=height_px(len(devices)), margin_px=MARGIN_PX)
    figure.update_layout(xaxis=_time_axis(theme, view, rows[-1]), barmode="overlay", bargap=0)
    step_s = _draw_power(figure, trial, theme, view, rows[0])
    _draw_strips(figure, report, trial, theme, view, rows[1:-1])
    _draw_blocks(figure, report["blocks"], theme, view, rows[-1])
    _name_rows(figure, _row_names(report, trial, step_s), theme, rows)
    figure.update_layout(meta={"view": list(view), "step_s": step_s, "whole": [trial.start_s, trial.end_s]})
    return figure


def _rows(devices: int) -> list[_Row]:
    strip = STRIP_PX if devices <= ROOMY_STRIPS else LOW_STRIP_PX
    heights = [POWER_PX, *[strip] * devices, BLOCKS_PX]
    total = sum(heights) + GAP_PX * (len(heights) - 1)
    rows, top = [], float(total)
    for i, height in enumerate(heights):
        rows.append(_Row(axis=f"y{i + 1}" if i else "y", low_frac=(top - height) / total, high_frac=top / total))
        top -= height + GAP_PX
    return rows


def _layout_key(axis: str) -> str:
    return "yaxis" + axis[1:]


def _draw_power(figure: go.Figure, trial: Trial, theme: Theme, view: tuple[float, float], row: _Row) -> float:
    top_w, step_s = 100.0, 1.0
    lines = []
    for i, label in enumerate(trial.labels):
        style = line_style(i, theme)
        bins = thin(trial.per_second(label), trial.start_s, view)
        step_s = bins.step_s
        if np.isfinite(bins.highest).any():
            top_w = max(top_w, float(np.nanmax(bins.highest)))
        if bins.step_s > 1:
            _draw_range(figure, bins, style)
        lines.append(_line(bins, bins.mean, style, row.axis, meta={"label": label, "kind": "power"}))
    # the reference last, so that its solid line stays readable on top of the others
    figure.add_traces(lines[1:] + lines[:1])
    axis = plain_axis(theme, domain=[row.low_frac, row.high_frac], range=[0, top_w * 1.04], nticks=6, anchor="x")
    figure.update_layout({_layout_key(row.axis): axis})
    return step_s


def _draw_range(figure: go.Figure, bins: Thinned, style: LineStyle) -> None:
    """Lowest to highest second of each bin as a faint shade: a peak is never averaged out of the picture."""
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
        )


def _line(bins: Thinned, y: Array, style: LineStyle, axis: str, meta: dict[str, str]) -> go.Scatter:
    return go.Scatter(
        x0=bins.first_s,
        dx=bins.step_s,
        y=y.astype(np.float32),
        yaxis=axis,
        mode="lines",
        meta=meta,
        hoverinfo="skip",
        line={"color": style.colour, "dash": style.dash, "width": style.width_px},
        connectgaps=False,
    )


def _draw_strips(
    figure: go.Figure,
    report: Mapping[str, Any],
    trial: Trial,
    theme: Theme,
    view: tuple[float, float],
    rows: list[_Row],
) -> None:
    ink = ink_of(theme)
    reference_w = trial.per_second(trial.reference)
    wholes = {label: running_difference_pct(trial.per_second(label), reference_w) for label in trial.labels[1:]}
    bands = {a["label"]: a["worst_pct"] for a in report["allowances"] if a.get("worst_pct")}
    limits = _strip_limits(list(wholes.values()), list(bands.values()))
    ticks = _percent_ticks(limits)
    for i, (label, row) in enumerate(zip(trial.labels[1:], rows, strict=True), start=1):
        style = line_style(i, theme)
        bins = thin(wholes[label], trial.start_s, view)
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
        figure.add_trace(_line(bins, bins.mean, style, row.axis, meta={"label": label, "kind": "difference"}))
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
            ticktext=[f"{t:+d}".replace("-", "−") if t else "0" for t in ticks],
        )
        figure.update_layout({_layout_key(row.axis): axis})


def _strip_limits(differences: list[Array], bands: list[list[float]]) -> list[float]:
    """One scale for all strips: the bands and all but the wildest 2 % of the differences, at most +-`MAX_STRIP_PCT`."""
    seen = np.concatenate([d[np.isfinite(d)] for d in differences]) if differences else np.empty(0)
    edges = [-5.0, 5.0, *(edge for band in bands for edge in band)]
    if seen.size:
        edges += [float(q) for q in np.quantile(seen, (0.01, 0.99))]
    low, high = max(min(edges), -MAX_STRIP_PCT), min(max(edges), MAX_STRIP_PCT)
    pad = 0.06 * (high - low)
    return [low - pad, high + pad]


def _percent_ticks(limits: list[float]) -> list[int]:
    step = next((s for s in (2, 5, 10) if (limits[1] - limits[0]) / s <= 5), 20)
    return list(range(math.ceil(limits[0] / step) * step, math.floor(limits[1]) + 1, step))


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


def _draw_blocks(
    figure: go.Figure, blocks: list[Mapping[str, Any]], theme: Theme, view: tuple[float, float], row: _Row
) -> None:
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


def _time_axis(theme: Theme, view: tuple[float, float], lowest: _Row) -> dict[str, Any]:
    """Ticks at round times, written as the rest of the page writes them."""
    span_s = view[1] - view[0]
    rounds = (5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)
    step_s = next((s for s in rounds if span_s / s <= 9), 14400)
    ticks = np.arange(math.ceil(view[0] / step_s) * step_s, view[1] + 0.5, step_s)
    return plain_axis(
        theme,
        range=list(view),
        tickvals=ticks,
        ticktext=[clock_text(t) for t in ticks],
        anchor=lowest.axis,
        side="bottom",
    )


def clock_text(time_s: float) -> str:
    """Elapsed time as m:ss, or h:mm:ss from an hour on. [s]"""
    whole = round(abs(time_s))
    hours, minutes, seconds = whole // 3600, whole // 60 % 60, whole % 60
    sign = "−" if time_s < 0 and whole else ""
    return f"{sign}{hours}:{minutes:02d}:{seconds:02d}" if hours else f"{sign}{minutes}:{seconds:02d}"


def _row_names(report: Mapping[str, Any], trial: Trial, step_s: float) -> list[str]:
    smooth = f"mean of {step_s:g} s, shade from lowest to highest second" if step_s > 1 else "every second"
    bands = {a["label"]: a["worst_pct"] for a in report["allowances"] if a.get("worst_pct")}
    names = [f"power [W], {smooth}"]
    for label in trial.labels[1:]:
        band = (
            f"; shaded: the allowance, {_signed(bands[label][0])} to {_signed(bands[label][1])} %"
            if label in bands
            else ""
        )
        names.append(f"{label} minus {trial.reference} [%], running {RUNNING_S} s{band}")
    return [*names, "blocks"]


def _signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "−")


def _name_rows(figure: go.Figure, names: list[str], theme: Theme, rows: list[_Row]) -> None:
    for name, row in zip(names, rows, strict=True):
        figure.add_annotation(
            text=html.escape(name),
            xref="x domain",
            yref="paper",
            x=0,
            y=row.high_frac,
            xanchor="left",
            yanchor="bottom",
            yshift=3,
            showarrow=False,
            font={"size": 12, "color": ink_of(theme).muted},
        )
