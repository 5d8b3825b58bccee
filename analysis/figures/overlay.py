"""The overlay: power of all recordings, one difference strip per device, further channels, the block strip, on one time axis.

Reads the report dict and the aligned trial, gives a plotly figure with about `MAX_POINTS` points per line for the part
of the ride in view. Time in seconds on the reference's clock; difference in % of the reference or in W.
"""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import plotly.graph_objects as go

from analysis.errors import OutOfRange
from analysis.figures.block_strip import draw_blocks
from analysis.figures.ink import Theme, blank_figure, ink_of, plain_axis
from analysis.figures.look import CHANNEL_ROWS, Look, rows_recorded
from analysis.figures.naming import row_difference
from analysis.figures.rows import Frame, Row, Sheet, draw_channels, draw_power
from analysis.figures.strips import draw_strips
from analysis.figures.thinning import step_for
from analysis.figures.ticks import clock_ticks, clock_words
from analysis.trial import Trial

# The page lays its selection layer over exactly the box that these leave.
MARGIN_PX = {"l": 44, "r": 8, "t": 24, "b": 30}
POWER_PX, STRIP_PX, LOW_STRIP_PX, CHANNEL_PX, BLOCKS_PX, GAP_PX = 230, 88, 60, 64, 26, 28
ROOMY_STRIPS = 3  # with more devices than this each strip gets lower

MIN_VIEW_S = 20.0  # closer than this there is nothing between two seconds to see
UNIT = {"pct": "%", "w": "W"}


def height_px(strips: int, channels: int = 0) -> int:
    """Height of the overlay with so many difference strips and further channels. [px]"""
    heights = _heights(strips, channels)
    return sum(heights) + GAP_PX * (len(heights) - 1) + MARGIN_PX["t"] + MARGIN_PX["b"]


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
    report: Mapping[str, Any],
    trial: Trial,
    *,
    theme: Theme = "light",
    view: tuple[float, float] | None = None,
    look: Look | None = None,
) -> go.Figure:
    """Draw the overlay of `view` (seconds, None for the whole trial) as `look` asks; rows that nobody recorded stay out.

    `layout.meta` carries what the page needs to read values under the cursor: the view, the bin width, when zero was, and
    for each kind of line its unit and decimals. Raises OutOfRange for an unknown theme or label, or a report of another trial.
    """
    missing = set(trial.labels) - {r["label"] for r in report["recordings"]}
    if missing:
        raise OutOfRange(f"The report says nothing of {', '.join(sorted(missing))}; it belongs to another trial.")
    look = look or Look()
    recorded = rows_recorded(trial)
    look = replace(look, rows=tuple(row for row in look.rows if row in recorded))
    view = clamp_view(view, trial)
    frame = Frame(view=view, step_s=step_for(view[1] - view[0]), theme=theme, look=look)
    strips, channels = len(look.compared(trial)), len(look.rows)
    rows = _rows(_heights(strips, channels))
    sheet = Sheet(layout={"barmode": "overlay", "bargap": 0, "meta": _meta(trial, frame)})
    sheet.layout["xaxis"] = _time_axis(theme, view, rows[-1], look.clock_start(trial))
    draw_power(sheet, trial, frame, rows[0])
    draw_strips(sheet, report, trial, frame, rows[1 : 1 + strips])
    draw_channels(sheet, trial, frame, rows[1 + strips : -1])
    draw_blocks(sheet, report["blocks"], theme, view, rows[-1])
    names = zip(_row_names(trial, frame), rows, strict=True)
    sheet.layout["annotations"] = [_name(name, row, theme) for name, row in names]
    blank = blank_figure(theme, height_px=height_px(strips, channels), margin_px=MARGIN_PX)
    return go.Figure(data=sheet.traces, layout={**blank.layout.to_plotly_json(), **sheet.layout})


def _heights(strips: int, channels: int) -> list[int]:
    strip = STRIP_PX if strips <= ROOMY_STRIPS else LOW_STRIP_PX
    return [POWER_PX, *[strip] * strips, *[CHANNEL_PX] * channels, BLOCKS_PX]


def _rows(heights: Sequence[int]) -> list[Row]:
    total = sum(heights) + GAP_PX * (len(heights) - 1)
    rows, top = [], float(total)
    for i, height in enumerate(heights):
        rows.append(Row(axis=f"y{i + 1}" if i else "y", low_frac=(top - height) / total, high_frac=top / total))
        top -= height + GAP_PX
    return rows


def _time_axis(theme: Theme, view: tuple[float, float], lowest: Row, start_utc: str | None) -> dict[str, Any]:
    """Ticks at round times, written as the rest of the page writes them, or as a clock in UTC would."""
    ticks = clock_ticks(*view, most=9, start_utc=start_utc)
    words = clock_words(ticks, start_utc)
    axis = {"range": list(view), "tickvals": ticks, "ticktext": words, "tickangle": 0}
    return plain_axis(theme, **axis, anchor=lowest.axis, side="bottom")


def _row_names(trial: Trial, frame: Frame) -> list[str]:
    look, held = frame.look, frame.look.held_against(trial)
    thinned = f"means of {frame.step_s} s" if frame.shade_s > 1 else "every sample"
    smooth = f"moving mean of {look.mean_s} s" if look.mean_s else thinned
    width = f", mean of {frame.running_s} s" if frame.running_s > 1 else ""
    names = [f"power [W], {smooth}"]
    for label in look.compared(trial):
        names.append(f"{row_difference(label, held, UNIT[look.unit])}{width}")
    names += [f"{CHANNEL_ROWS[key].name} [{CHANNEL_ROWS[key].unit}]" for key in look.rows]
    return [*names, "blocks; clock time in UTC" if look.clock_start(trial) else "blocks"]


def _name(name: str, row: Row, theme: Theme) -> dict[str, Any]:
    """The name of a row, above its left end."""
    return {
        "text": html.escape(name), "xref": "x domain", "yref": "paper", "x": 0, "y": row.high_frac, "xanchor": "left",
        "yanchor": "bottom", "yshift": 3, "showarrow": False, "font": {"size": 12, "color": ink_of(theme).muted},
    }  # fmt: skip


def _meta(trial: Trial, frame: Frame) -> dict[str, Any]:
    look = frame.look
    kinds = {"power": {"unit": "W", "digits": 0}, "difference": {"unit": UNIT[look.unit], "digits": 1, "signed": True}}
    kinds |= {key: {"unit": CHANNEL_ROWS[key].unit, "digits": CHANNEL_ROWS[key].digits} for key in look.rows}
    return {
        "view": list(frame.view),
        "step_s": frame.step_s,
        "mean_s": look.mean_s,
        "running_s": frame.running_s,
        "whole": [trial.start_s, trial.end_s],
        "kinds": kinds,
        "start_utc": trial.start_utc,
        "axis": "clock" if look.clock_start(trial) else "elapsed",
    }
