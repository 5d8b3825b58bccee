"""The rows of the overlay that hold what was recorded: power with its peaks, and further channels below it.

Each function adds one kind of row to a sheet. Time in seconds, power in watts, channels in the unit of their row.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from analysis.figures.ink import LineStyle, Theme, faded, line_style, plain_axis
from analysis.figures.look import CHANNEL_ROWS, Look
from analysis.figures.thinning import Array, Thinned, extremes, moving_mean, running_for, samples_in, thin
from analysis.traces import steps_of
from analysis.trial import AlignedRecording, Trial

PAD_FRAC = 0.08  # room above and below the lines of a channel


@dataclass(frozen=True, kw_only=True)
class Row:
    """One strip of the figure: its y axis and where it lies, as fractions of the plot height."""

    axis: str
    low_frac: float
    high_frac: float


@dataclass(frozen=True, kw_only=True)
class Frame:
    """What every row is drawn into: the stretch in view [s], the width of a bin [s], the theme, and how to draw."""

    view: tuple[float, float]
    step_s: int
    theme: Theme
    look: Look

    @property
    def shade_s(self) -> int:
        """Width of the stretch whose lowest and highest sample the shade behind a line shows. [s]"""
        return max(self.step_s, self.look.mean_s or 1)

    @property
    def running_s(self) -> int:
        """Width of the moving mean that differences are drawn with. [s]"""
        return self.look.mean_s or running_for(self.view[1] - self.view[0])


@dataclass
class Sheet:
    """Traces and layout as plain dicts while a figure is put together: plotly checks them once, not piece by piece."""

    traces: list[dict[str, Any]] = field(default_factory=list)
    layout: dict[str, Any] = field(default_factory=dict)

    def add_axis(self, row: Row, axis: dict[str, object]) -> None:
        """The y axis of a row, where the row lies."""
        self.layout["yaxis" + row.axis[1:]] = {**axis, "domain": [row.low_frac, row.high_frac], "anchor": "x"}

    def add_shade(self, x: Array, low: Array, high: Array, colour: str, axis: str, **more: Any) -> None:
        """Fill between two edges; where either is NaN the shade ends upright, because a filling would break there."""
        x, low, high = _closed(x, low, high)
        for values, fill in ((low, None), (high, "tonexty")):
            self.traces.append(
                {"type": "scatter", "x": x.astype(np.float32), "y": values.astype(np.float32), "yaxis": axis, "mode": "lines",
                 "fill": fill, "fillcolor": colour, "hoverinfo": "skip", "line": {"width": 0}, **more}
            )  # fmt: skip


def draw_power(sheet: Sheet, trial: Trial, frame: Frame, row: Row) -> None:
    """Power of every recording shown, its peaks as a shade behind it."""
    top_w, lines = 100.0, []
    for label in frame.look.shown(trial):
        recording, style = trial.recording(label), line_style(trial.labels.index(label), frame.theme)
        value = recording.channels.get("power_w", np.full(len(recording.time_s), np.nan))
        x, y = _line_of(recording, value, frame)
        if frame.shade_s > max(1.0, recording.interval_s):
            bins = thin(recording.time_s, value, frame.view, frame.shade_s)
            _draw_range(sheet, bins, style, label)
            top_w = _highest(top_w, bins.highest)
        top_w = _highest(top_w, y)
        lines.append(line(x, y, style, row.axis, {"label": label, "kind": "power"}))
    # the reference last, so that its solid line stays readable on top of the others
    sheet.traces += lines[1:] + lines[:1]
    sheet.add_axis(row, plain_axis(frame.theme, range=[0, top_w * 1.04], nticks=6))


def draw_channels(sheet: Sheet, trial: Trial, frame: Frame, rows: Sequence[Row]) -> None:
    """The further rows of the look, a line per recording that carries the channel."""
    for key, row in zip(frame.look.rows, rows, strict=True):
        seen = []
        for label in frame.look.shown(trial):
            recording, style = trial.recording(label), line_style(trial.labels.index(label), frame.theme)
            value = CHANNEL_ROWS[key].values(recording)
            if value is None:
                continue
            x, y = _line_of(recording, value, frame)
            sheet.traces.append(line(x, y, style, row.axis, {"label": label, "kind": key}))
            seen.append(y[np.isfinite(y)])
        sheet.add_axis(row, plain_axis(frame.theme, range=_around(seen), nticks=4))


def line(x: dict[str, Any], y: Array, style: LineStyle, axis: str, meta: dict[str, str]) -> dict[str, Any]:
    """One recording's stroke; `meta` lets the page read values under the cursor."""
    return {
        "type": "scatter", **x, "y": y.astype(np.float32), "yaxis": axis, "mode": "lines", "meta": meta, "hoverinfo": "skip",
        "line": {"color": style.colour, "dash": style.dash, "width": style.width_px}, "connectgaps": False,
    }  # fmt: skip


def in_view(time_s: Array, view: tuple[float, float], *, around_s: float) -> slice:
    """The samples in view with some to either side."""
    return slice(*np.searchsorted(time_s, (view[0] - around_s, view[1] + around_s)))


def _line_of(recording: AlignedRecording, value: Array, frame: Frame) -> tuple[dict[str, Any], Array]:
    """A channel as the look wants it: as recorded or means as wide as a bin; else the moving mean that was asked for."""
    fits = frame.step_s <= max(1.0, recording.interval_s)
    if frame.look.mean_s is None and not fits:
        bins = thin(recording.time_s, value, frame.view, frame.step_s)
        return {"x0": bins.first_s, "dx": bins.step_s}, bins.mean
    time = recording.time_s
    if frame.look.mean_s is not None:
        seen = in_view(time, frame.view, around_s=2 * recording.interval_s + frame.look.mean_s)
        time, value = time[seen], value[seen]
        value = moving_mean(steps_of(time, value, interval_s=recording.interval_s), time, value, frame.look.mean_s)
    x, y = samples_in(time, value, frame.view, interval_s=recording.interval_s)
    x, y = (x, y) if fits else extremes(x, y, frame.step_s)
    return {"x": x.astype(np.float32)}, y


def _draw_range(sheet: Sheet, bins: Thinned, style: LineStyle, label: str) -> None:
    """Lowest to highest sample of each bin as a faint shade: a peak is never averaged out of the picture."""
    there = np.isfinite(bins.mean)
    # an empty bin closes the shade to nothing at zero height
    for values, fill in ((bins.lowest, None), (bins.highest, "tonexty")):
        sheet.traces.append(
            {"type": "scatter", "x0": bins.first_s, "dx": bins.step_s, "y": np.where(there, values, 0.0).astype(np.float32),
             "mode": "lines", "line": {"width": 0, "shape": "hvh"}, "fill": fill, "fillcolor": faded(style.colour, 0.13),
             "hoverinfo": "skip", "meta": {"label": label, "kind": "range"}}
        )  # fmt: skip


def _closed(x: Array, low: Array, high: Array) -> tuple[Array, Array, Array]:
    """The points of a shade without its gaps, each gap walked over at no height."""
    there = np.flatnonzero(np.isfinite(low) & np.isfinite(high))
    x, low, high = x[there], low[there], high[there]
    gap = np.flatnonzero(np.diff(there) > 1)
    at = np.repeat(gap + 1, 2)
    ends = np.column_stack((gap, gap + 1)).ravel()
    return np.insert(x, at, x[ends]), np.insert(low, at, low[ends]), np.insert(high, at, low[ends])


def _highest(so_far: float, values: Array) -> float:
    return max(so_far, float(np.nanmax(values))) if np.isfinite(values).any() else so_far


def _around(seen: Sequence[Array]) -> list[float]:
    """From the lowest to the highest value drawn, with some room; a flat line stands in the middle."""
    values = np.concatenate([*seen, np.empty(0)])
    low, high = (float(values.min()), float(values.max())) if values.size else (0.0, 1.0)
    pad = max(PAD_FRAC * (high - low), 0.5)
    return [low - pad, high + pad]
