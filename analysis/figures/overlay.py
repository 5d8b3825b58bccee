"""The overlay: power of all recordings, one difference strip per device, the block strip, on one time axis.

Reads the report dict and the aligned trial, gives a plotly figure with about `MAX_POINTS` points per line for the part
of the ride in view. Time in seconds on the reference's clock; difference in % of the reference.
"""

from __future__ import annotations

import html
import math
from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go

from analysis.errors import OutOfRange
from analysis.figures.ink import Theme, blank_figure, ink_of, plain_axis
from analysis.figures.rows import Row, draw_blocks, draw_power, draw_strips
from analysis.figures.thinning import step_for
from analysis.figures.ticks import clock_text, clock_ticks
from analysis.trial import Trial

# The page lays its selection layer over exactly the box that these leave.
MARGIN_PX = {"l": 44, "r": 8, "t": 24, "b": 30}
POWER_PX, STRIP_PX, LOW_STRIP_PX, BLOCKS_PX, GAP_PX = 230, 88, 60, 26, 28
ROOMY_STRIPS = 3  # with more devices than this each strip gets lower

MIN_VIEW_S = 20.0  # closer than this there is nothing between two seconds to see


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
    step_s = step_for(view[1] - view[0])
    draw_power(figure, trial, theme, view, rows[0], step_s)
    draw_strips(figure, report, trial, theme, view, rows[1:-1], step_s)
    draw_blocks(figure, report["blocks"], theme, view, rows[-1])
    _name_rows(figure, _row_names(report, trial, step_s), theme, rows)
    figure.update_layout(meta={"view": list(view), "step_s": step_s, "whole": [trial.start_s, trial.end_s]})
    return figure


def _rows(devices: int) -> list[Row]:
    strip = STRIP_PX if devices <= ROOMY_STRIPS else LOW_STRIP_PX
    heights = [POWER_PX, *[strip] * devices, BLOCKS_PX]
    total = sum(heights) + GAP_PX * (len(heights) - 1)
    rows, top = [], float(total)
    for i, height in enumerate(heights):
        rows.append(Row(axis=f"y{i + 1}" if i else "y", low_frac=(top - height) / total, high_frac=top / total))
        top -= height + GAP_PX
    return rows


def _time_axis(theme: Theme, view: tuple[float, float], lowest: Row) -> dict[str, Any]:
    """Ticks at round times, written as the rest of the page writes them."""
    ticks = clock_ticks(*view, most=9)
    words = [clock_text(t) for t in ticks]
    return plain_axis(theme, range=list(view), tickvals=ticks, ticktext=words, anchor=lowest.axis, side="bottom")


def _row_names(report: Mapping[str, Any], trial: Trial, step_s: float) -> list[str]:
    smooth = f"means of {step_s:g} s, shade: range" if step_s > 1 else "every sample"
    banded = {a["label"] for a in report["allowances"] if a.get("worst_pct")}
    strips = [
        f"{label} minus {trial.reference} [%]" + (", shade: allowance" if label in banded else "") for label in trial.labels[1:]
    ]
    return [f"power [W], {smooth}", *strips, "blocks"]


def _name_rows(figure: go.Figure, names: list[str], theme: Theme, rows: list[Row]) -> None:
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
