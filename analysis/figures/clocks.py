"""Pictures of an alignment: how well each signal matches at each shift, and one sharp change before and after it.

Reads the report dict and the aligned trial. Shift and time in seconds, correlation without unit, power in watts.
"""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analysis.errors import OutOfRange
from analysis.figures.ink import LineStyle, Theme, blank_figure, ink_of, line_style, plain_axis
from analysis.figures.thinning import Array, samples_in
from analysis.figures.ticks import clock_text, clock_ticks
from analysis.trial import Trial

MATCH_ROW_PX, STRETCH_ROW_PX, ROW_GAP_PX = 84, 120, 30
CLOCKS_MARGIN_PX = {"l": 36, "r": 8, "t": 24, "b": 40}
LEAST_ROWS = 2  # a single signal's curve needs some height to be read
# Beyond this shift the two changes of one stretch no longer fit into one picture. A choice. [s]
MAX_WIDENED_S = 60.0
EDGE_FRAC = 0.04


def match_height_px(entry: Mapping[str, Any]) -> int:
    """Height of the picture of the match for one entry of the report's alignment. [px]"""
    return _height_px(max(len(_drawn(entry)), LEAST_ROWS), MATCH_ROW_PX)


def matched_signals(entry: Mapping[str, Any]) -> tuple[str, ...]:
    """The signals that have a row in the picture of the match: those with a curve near the shift in use."""
    return tuple(c["via"] for c in _drawn(entry))


def stretch_height_px() -> int:
    """Height of the picture before and after. [px]"""
    return _height_px(2, STRETCH_ROW_PX)


def match_picture(report: Mapping[str, Any], label: str, *, theme: Theme = "light") -> go.Figure | None:
    """Correlation over shift around the best one, a row per signal; its best shift and the rival peaks marked.

    A solid upright line is the shift in use, dashed while it is not settled. None where no signal gave a curve; raises
    OutOfRange for a label that the report lacks.
    """
    entry = _entry(report, label)
    drawn = _drawn(entry)
    if not drawn:
        return None
    index = [r["label"] for r in report["recordings"]].index(label)
    figure = blank_figure(theme, height_px=match_height_px(entry), margin_px=CLOCKS_MARGIN_PX)
    limits = _shift_limits(drawn)
    lowest = min(0.0, *(value for c in drawn for value in c["curve"]["correlation"] if value is not None))
    axis = plain_axis(theme, range=list(limits), nticks=7, showgrid=False, showline=True, anchor=_y(len(drawn)))
    axis |= {"linecolor": ink_of(theme).rule, "title": {"text": "shift [s]", "standoff": 4}}
    figure.update_layout(xaxis=axis)
    for row, candidate in enumerate(drawn):
        domain = _domain(row, len(drawn), MATCH_ROW_PX)
        upright = plain_axis(theme, domain=domain, range=[lowest - 0.08, 1.12], tickvals=[0, 0.5, 1], anchor="x")
        figure.update_layout({_layout_y(row): upright})
        _curve(figure, candidate, row, line_style(index, theme), theme, limits)
        _name(figure, _signal_words(candidate, limits), domain[1], theme)
    _uprights(figure, entry, theme, limits)
    return figure


def stretch_picture(report: Mapping[str, Any], trial: Trial, label: str, *, theme: Theme = "light") -> go.Figure | None:
    """Power of device and reference over the sharpest change both show: by the clocks alone, and with the shift in use.

    None where the two share no such change; raises OutOfRange for a label that report or trial lacks.
    """
    entry = _entry(report, label)
    shown = entry.get("show")
    if not shown:
        return None
    view = (shown["start_s"], shown["end_s"])
    shift_s = _shift_at(entry, sum(view) / 2)
    wide = (view[0] - max(shift_s, 0.0), view[1] - min(shift_s, 0.0)) if abs(shift_s) <= MAX_WIDENED_S else view
    figure = blank_figure(theme, height_px=stretch_height_px(), margin_px=CLOCKS_MARGIN_PX)
    ticks = clock_ticks(*wide, most=6)
    figure.update_layout(
        xaxis=plain_axis(theme, range=list(wide), tickvals=ticks, ticktext=[clock_text(t) for t in ticks], anchor="y2")
    )
    device, reference = trial.recording(label), trial.recording(trial.reference)
    places = (trial.labels.index(label), 0)
    before = device.time_s - _shift_of(entry, device.time_s)
    top_w = 50.0
    for row, device_s in enumerate((before, device.time_s)):
        for place, times, recording in zip(places, (device_s, reference.time_s), (device, reference), strict=True):
            power = recording.channels.get("power_w", np.full(times.size, np.nan))
            top_w = max(top_w, _power(figure, times, power, recording.interval_s, wide, row, line_style(place, theme)))
    for row, words in enumerate(_stretch_words(entry, shift_s, before, wide)):
        domain = _domain(row, 2, STRETCH_ROW_PX)
        figure.update_layout({_layout_y(row): plain_axis(theme, domain=domain, range=[0, top_w * 1.06], nticks=4, anchor="x")})
        _name(figure, words, domain[1], theme)
    return figure


def _entry(report: Mapping[str, Any], label: str) -> Mapping[str, Any]:
    entry = next((a for a in report["alignment"] if a["label"] == label), None)
    if entry is None or label not in [r["label"] for r in report["recordings"]]:
        raise OutOfRange(f"The report's alignment says nothing of {label!r}; it belongs to another trial.")
    return entry


def _drawn(entry: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Candidates whose curve holds the shift in use; where none does, the first that has a curve."""
    curves = [c for c in entry.get("candidates") or () if c.get("curve") and c["curve"]["shift_s"]]
    near = [c for c in curves if min(c["curve"]["shift_s"]) <= entry["shift_s"] <= max(c["curve"]["shift_s"])]
    return near or curves[:1]


def _shift_limits(drawn: Sequence[Mapping[str, Any]]) -> tuple[float, float]:
    """All shifts of the drawn curves, with room for a mark at either end. [s]"""
    shifts = [s for c in drawn for s in c["curve"]["shift_s"]]
    room = EDGE_FRAC * (max(shifts) - min(shifts))
    return min(shifts) - room, max(shifts) + room


def _curve(
    figure: go.Figure, candidate: Mapping[str, Any], row: int, style: LineStyle, theme: Theme, limits: tuple[float, float]
) -> None:
    """The curve, its own best shift as a dot, the other peaks as open triangles on it."""
    ink = ink_of(theme)
    shift_s = np.array(candidate["curve"]["shift_s"], float)
    height = np.array(candidate["curve"]["correlation"], float)
    line = {"color": style.colour, "width": 1.8} if candidate["used"] else {"color": ink.muted, "width": 1.4, "dash": "dot"}
    meta = {"via": candidate["via"]}
    figure.add_scatter(
        x=shift_s.astype(np.float32), y=height.astype(np.float32), yaxis=_y(row + 1), mode="lines", line=line,
        meta={**meta, "kind": "curve"},
    )  # fmt: skip
    peaks = [(candidate["shift_s"], candidate["correlation"], "best")]
    peaks += [(s, None, "rival") for s in candidate.get("rival_shifts_s") or ()]
    for at_s, at_height, kind in peaks:
        if not limits[0] <= at_s <= limits[1]:
            continue
        level = at_height if at_height is not None else float(np.interp(at_s, shift_s, height))
        marker = {"symbol": "circle" if kind == "best" else "triangle-down-open", "size": 8 if kind == "best" else 9}
        figure.add_scatter(
            x=[at_s], y=[level], yaxis=_y(row + 1), mode="markers", meta={**meta, "kind": kind},
            marker={**marker, "color": style.colour if candidate["used"] else ink.muted, "line": {"width": 1.6}},
        )  # fmt: skip


def _signal_words(candidate: Mapping[str, Any], limits: tuple[float, float]) -> str:
    words = candidate["via"].replace("_", " ") + (", used" if candidate["used"] else ", not used")
    outside = (
        "" if limits[0] <= candidate["shift_s"] <= limits[1] else f": best at {_signed(candidate['shift_s'])} s, not in view"
    )
    rivals = candidate.get("rival_shifts_s") or ()
    unseen = sum(not limits[0] <= s <= limits[1] for s in rivals)
    return words + outside + (f"; {unseen} more peak{'s' if unseen > 1 else ''} further off" if unseen else "")


def _uprights(figure: go.Figure, entry: Mapping[str, Any], theme: Theme, limits: tuple[float, float]) -> None:
    """The shift in use, through all rows, and what the clocks alone would have said."""
    ink = ink_of(theme)
    sure = entry["settled"]
    marks = [(entry["shift_s"], "shift in use", {"color": ink.text, "width": 1.2, "dash": "solid" if sure else "dash"})]
    if entry.get("clock_shift_s") is not None:
        marks.append((entry["clock_shift_s"], "clocks alone", {"color": ink.muted, "width": 1, "dash": "dot"}))
    for at_s, name, line in marks:
        if limits[0] <= at_s <= limits[1]:
            figure.add_shape(
                type="line", xref="x", yref="paper", x0=at_s, x1=at_s, y0=0, y1=1, line=line, layer="below", name=name
            )


def _power(
    figure: go.Figure, times: Array, power: Array, interval_s: float, view: tuple[float, float], row: int, style: LineStyle
) -> float:
    """One line of a stretch; gives its highest value. [W]"""
    x, y = samples_in(times, power, view, interval_s=interval_s)
    figure.add_scatter(
        x=x.astype(np.float32), y=y.astype(np.float32), yaxis=_y(row + 1), mode="lines", connectgaps=False,
        line={"color": style.colour, "dash": style.dash, "width": style.width_px},
    )  # fmt: skip
    seen = y[np.isfinite(y) & (x >= view[0]) & (x <= view[1])]
    return float(seen.max()) if seen.size else 0.0


def _shift_at(entry: Mapping[str, Any], at_s: float) -> float:
    """The shift that serves a moment of the trial: that of its stretch where the clock stood or leapt. [s]"""
    for piece in entry.get("pieces") or ():
        start_s, end_s = piece["start_s"], piece["end_s"]
        if (start_s is None or at_s >= start_s) and (end_s is None or at_s < end_s):
            return piece["shift_s"]
    return entry["shift_s"]


def _shift_of(entry: Mapping[str, Any], time_s: Array) -> Array:
    """What was added to the stamps that now read `time_s`: shift, and drift about the recording's middle. [s]"""
    if entry.get("pieces"):
        return np.array([_shift_at(entry, t) for t in time_s])
    drift = entry["drift_ppm"] * 1e-6 if entry.get("drift_applied") else 0.0
    middle_s = (time_s[0] + time_s[-1]) / 2
    return entry["shift_s"] + drift * (time_s - middle_s)


def _stretch_words(entry: Mapping[str, Any], shift_s: float, before: Array, view: tuple[float, float]) -> tuple[str, str]:
    if entry.get("clock_shift_s") is None:
        first = "before: its clock has no date, so the clocks alone say nothing"
    elif abs(shift_s) > MAX_WIDENED_S or not np.any((before >= view[0]) & (before <= view[1])):
        first = f"before: by the clocks alone, {abs(shift_s):.0f} s away from here"
    else:
        first = "before: by the clocks alone"
    how = "set by hand" if entry["via"] == "manual" else "as aligned" if entry["settled"] else "tried, not settled"
    return f"{first} [W]", f"after: {_signed(shift_s)} s, {how} [W]"


def _signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "−")


def _height_px(rows: int, row_px: int) -> int:
    return rows * (row_px + ROW_GAP_PX) - ROW_GAP_PX + CLOCKS_MARGIN_PX["t"] + CLOCKS_MARGIN_PX["b"]


def _domain(row: int, rows: int, row_px: int) -> list[float]:
    """Lowest and highest edge of a row as fractions; a single row fills the height."""
    total = rows * (row_px + ROW_GAP_PX) - ROW_GAP_PX
    top = total - row * (row_px + ROW_GAP_PX)
    return [(top - row_px) / total, top / total]


def _y(number: int) -> str:
    return "y" if number == 1 else f"y{number}"


def _layout_y(row: int) -> str:
    return "yaxis" if row == 0 else f"yaxis{row + 1}"


def _name(figure: go.Figure, text: str, top_frac: float, theme: Theme) -> None:
    figure.add_annotation(
        text=html.escape(text), xref="paper", yref="paper", x=0, y=top_frac, xanchor="left", yanchor="bottom", yshift=3,
        showarrow=False, font={"size": 12, "color": ink_of(theme).muted},
    )  # fmt: skip
