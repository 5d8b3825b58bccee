"""The difference strips of the overlay: each device minus what it is held against, with the allowance as a band.

In % the band is level; in W it follows the power that the device is held against, because claims and losses are shares of it.
Time in seconds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.figures.ink import LineStyle, faded, ink_of, line_style, plain_axis
from analysis.figures.rows import Frame, Row, Sheet, in_view, line
from analysis.figures.thinning import Array, extremes, in_percent, running_difference, thin
from analysis.figures.ticks import round_ticks, signed_text
from analysis.judging import allowance_of
from analysis.trial import Trial

# A strip scaled to a drop-out would hide every accuracy question.
MAX_STRIP = {"pct": 40.0, "w": 120.0}
# However alike two devices are, noise need not fill the strip.
LEAST_STRIP = {"pct": 5.0, "w": 10.0}
WILDEST_FRAC = 0.03  # of the seconds in view, on either side, may reach beyond the strip


@dataclass(frozen=True, kw_only=True)
class Strip:
    """One device's strip: points of the difference and of the band's edges (None where no allowance is known).

    x : where the points stand [s]; seen : the difference of every second in view, for the scale.
    """

    label: str
    x: Array
    difference: Array
    low: Array | None
    high: Array | None
    seen: Array


def draw_strips(sheet: Sheet, report: Mapping[str, Any], trial: Trial, frame: Frame, rows: Sequence[Row]) -> None:
    """A strip per device compared, all on one scale."""
    ink, look = ink_of(frame.theme), frame.look
    strips = [_strip(trial, label, band_pct(report, trial, look, label), frame) for label in look.compared(trial)]
    limits = _limits(strips, look.unit)
    ticks = round_ticks(limits)
    for strip, row in zip(strips, rows, strict=True):
        style = line_style(trial.labels.index(strip.label), frame.theme)
        if strip.low is not None:
            _draw_band(sheet, strip, look.unit, row.axis, ink.band)
            _draw_excess(sheet, strip, style, row.axis)
        x = {"x": strip.x.astype(np.float32)}
        sheet.traces.append(line(x, strip.difference, style, row.axis, {"label": strip.label, "kind": "difference"}))
        axis = plain_axis(
            frame.theme,
            range=limits,
            zeroline=True,
            zerolinecolor=ink.muted,
            zerolinewidth=1,
            tickmode="array",
            tickvals=ticks,
            ticktext=signed_text(ticks),
        )
        sheet.add_axis(row, axis)


def band_pct(report: Mapping[str, Any], trial: Trial, look: Any, label: str) -> tuple[float, float] | None:
    """The worst-case allowance of a device: the report's own against the reference, else made for the pair. [%]"""
    if look.against is None or look.against == trial.reference:
        told = next((a["worst_pct"] for a in report["allowances"] if a["label"] == label), None)
        return None if not told else (told[0], told[1])
    return allowance_of(trial, label, look.against).worst_pct


def _strip(trial: Trial, label: str, band: tuple[float, float] | None, frame: Frame) -> Strip:
    look, held = frame.look, frame.look.held_against(trial)
    difference_w, held_w = running_difference(trial.per_second(label), trial.per_second(held), frame.running_s)
    value = difference_w if look.unit == "w" else in_percent(difference_w, held_w)
    near = in_view(trial.second_s, frame.view, around_s=frame.step_s)
    time, value, held_w = trial.second_s[near], value[near], held_w[near]
    if look.mean_s is None:
        bins = thin(time, value, frame.view, frame.step_s)
        x, drawn = bins.first_s + bins.step_s * np.arange(bins.mean.size), bins.mean
        held_there = thin(time, np.where(np.isfinite(value), held_w, np.nan), frame.view, frame.step_s).mean
    else:
        x, drawn = extremes(time + 0.5, value, frame.step_s)
        held_there = held_w[np.searchsorted(time + 0.5, x)]  # where the difference is, so that it and its band belong together
    scale = np.ones(drawn.size) if look.unit == "pct" else held_there / 100
    low, high = (None, None) if band is None else (scale * band[0], scale * band[1])
    return Strip(label=label, x=x, difference=drawn, low=low, high=high, seen=value[np.isfinite(value)])


def _limits(strips: Sequence[Strip], unit: str) -> list[float]:
    """One scale for all strips: the bands and all but the wildest differences in view, within `MAX_STRIP`."""
    seen = np.concatenate([*(s.seen for s in strips), np.empty(0)])
    edges = [-LEAST_STRIP[unit], LEAST_STRIP[unit]]
    for strip in strips:
        for edge in (strip.low, strip.high):
            there = np.empty(0) if edge is None else edge[np.isfinite(edge)]
            edges += [float(q) for q in np.quantile(there, (WILDEST_FRAC, 1 - WILDEST_FRAC))] if there.size else []
    if seen.size:
        edges += [float(q) for q in np.quantile(seen, (WILDEST_FRAC, 1 - WILDEST_FRAC))]
    low, high = max(min(edges), -MAX_STRIP[unit]), min(max(edges), MAX_STRIP[unit])
    pad = 0.06 * (high - low)
    return [low - pad, high + pad]


def _draw_band(sheet: Sheet, strip: Strip, unit: str, axis: str, colour: str) -> None:
    """What claims and loss can explain: one shape where it is level, else as wide as the power makes it at each point."""
    if unit == "pct":
        sheet.layout.setdefault("shapes", []).append(
            {"type": "rect", "xref": "x domain", "yref": axis, "x0": 0, "x1": 1, "y0": strip.low[0], "y1": strip.high[0],
             "fillcolor": colour, "line": {"width": 0}, "layer": "below", "name": f"allowance {strip.label}"}
        )  # fmt: skip
        return
    low, high = (np.where(np.isfinite(strip.difference), edge, np.nan) for edge in (strip.low, strip.high))
    sheet.add_shade(strip.x, low, high, colour, axis, meta={"label": strip.label, "kind": "band"})


def _draw_excess(sheet: Sheet, strip: Strip, style: LineStyle, axis: str) -> None:
    """Fill what lies beyond the allowance: the part of the ride that asks for an explanation."""
    for edge, furthest in ((strip.high, np.fmax), (strip.low, np.fmin)):
        there = np.isfinite(strip.difference)
        beyond = np.where(there, furthest(strip.difference, edge), np.nan)
        if np.any(beyond[there] != edge[there]):
            sheet.add_shade(strip.x, edge, beyond, faded(style.colour, 0.38), axis)
