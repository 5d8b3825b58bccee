"""The picture behind one finding: what its statement rests on, drawn for the device it is about.

Reads the report; the response's pictures and lost seconds read the aligned trial as well. The stated size is drawn as a line
where it is one: a factor, a constant, a slope.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analysis.consensus import consensus_of
from analysis.figures.clocks import match_height_px, match_picture
from analysis.figures.dependence import curve_traces, curves_of
from analysis.figures.ink import Theme, faded, ink_of, line_style
from analysis.figures.naming import ROW_LETTERS, row_difference, shortened
from analysis.figures.panels import Grid, add_panel, add_shade, bands_of, blank_grid, device_style, limits_around
from analysis.figures.ticks import clock_text, clock_ticks
from analysis.figures.transitions import changes_height_px, changes_picture
from analysis.trial import Trial
from analysis.watching import dropouts, stuck

# Along which quantity a finding of this code and unit is told.
ALONG = {"temperature": "temperature", "drift": "time", "cadence": "cadence", "single-sided": "left share"}
PER = {"%/degC": 1.0, "%/rpm": 1.0, "%/h": 1 / 60}  # slope per unit of the curve's axis
WATTS = frozenset({"gain", "offset", "gained-power"})
KINDS = ("steady", "free", "transient")
ONE = Grid(panels=1, columns=1)
LOST_MARGIN_FRAC = 0.02


def behind_height_px(report: Mapping[str, Any], finding: Mapping[str, Any]) -> int | None:
    """Height of the picture of one finding; None where it has none. [px]"""
    code, label = finding["code"], finding["label"]
    if code in ("lag", "smoothing"):
        return changes_height_px()
    if code == "clock":
        entry = next((a for a in report["alignment"] if a["label"] == label), None)
        return match_height_px(entry) if entry and any(c.get("curve") for c in entry.get("candidates") or ()) else None
    if code in ("dropouts", "stuck") or (_curve_of(report, finding) or code == "steady-bias" or code in WATTS):
        return ONE.height_px
    return None


def behind_picture(report: Mapping[str, Any], trial: Trial, finding: Mapping[str, Any], *, theme: Theme = "light") -> Any:
    """Draw it; None for a finding that has none, such as "nothing to explain"."""
    code, label = finding["code"], finding["label"]
    if code in ("lag", "smoothing"):
        return changes_picture(report, trial, label, theme=theme)
    if code == "clock":
        return match_picture(report, label, theme=theme)
    if code in ("dropouts", "stuck"):
        return _lost(report, trial, code, label, theme)
    if _curve_of(report, finding):
        return _along(report, finding, theme)
    if code == "steady-bias":
        return _by_kind(report, label, theme)
    return _watts(report, finding, theme) if code in WATTS else None


def _curve_of(report: Mapping[str, Any], finding: Mapping[str, Any]) -> Mapping[str, Any] | None:
    against = "cadence" if finding.get("unit") == "N·m" else ALONG.get(finding["code"])
    return next((c for c in curves_of(report, finding["label"]) if c["against"] == against), None)


def _along(report: Mapping[str, Any], finding: Mapping[str, Any], theme: Theme) -> go.Figure:
    """The device's curve along what it follows, with the stated slope through the curve's middle."""
    label, curve = finding["label"], _curve_of(report, finding)
    band = bands_of(report).get(label)
    limits = limits_around([*curve["delta_pct"], *curve["low"], *curve["high"], *(band or ())])
    figure = blank_grid(ONE, theme)
    along = {"title": {"text": f"{curve['against']} [{curve['unit']}]"}}
    name = row_difference(label, report["reference"], "%")
    axes = add_panel(figure, ONE, 0, theme=theme, along=along, limits=limits, name=name)
    if band:
        add_shade(figure, axes, band, theme, name="allowance")
    curve_traces(figure, axes, curve, *device_style(report, label, theme))
    if finding.get("unit") in PER:
        slope = finding["size"] * PER[finding["unit"]]
        x, y = np.average(curve["x"], weights=curve["n"]), np.average(curve["delta_pct"], weights=curve["n"])
        ends = np.array([min(curve["x"]), max(curve["x"])])
        _stated(figure, axes, ends, y + slope * (ends - x), theme)
    return figure


def _watts(report: Mapping[str, Any], finding: Mapping[str, Any], theme: Theme) -> go.Figure:
    """Differences in watts over the reference's power, block by block: a factor climbs from zero, a constant lies level."""
    label = finding["label"]
    kinds = {b["id"]: b["kind"] for b in report["blocks"] if b.get("excluded_reason") is None}
    points = [d for d in report["deltas"] if d["label"] == label and d["delta_w"] is not None
              and kinds.get(d["block"]) in ("steady", "free")]  # fmt: skip
    reach = 1.06 * max((d["reference_mean_w"] for d in points), default=300.0)
    band = bands_of(report).get(label)
    edges = [edge * reach / 100 for edge in band or ()]
    shown = [v for d in points for v in (d["delta_w"], *(d["delta_w_ci"] or ()))]
    figure = blank_grid(ONE, theme)
    along = {"title": {"text": f"{report['reference']} [W]"}, "range": [0, reach]}
    limits = limits_around([*shown, *edges])
    name = row_difference(label, report["reference"], "W")
    axes = add_panel(figure, ONE, 0, theme=theme, along=along, limits=limits, name=name)
    on = {"xaxis": axes[0], "yaxis": axes[1]}
    if band:
        figure.add_scatter(
            x=[0, reach, reach, 0], y=[0, *edges, 0], fill="toself", fillcolor=ink_of(theme).band, line={"width": 0},
            mode="lines", meta={"kind": "allowance"}, **on,
        )  # fmt: skip
    style, shape = device_style(report, label, theme)
    for kind, symbol in (("steady", shape), ("free", f"{shape}-open")):
        own = [d for d in points if kinds[d["block"]] == kind]
        figure.add_scatter(
            x=[d["reference_mean_w"] for d in own], y=[d["delta_w"] for d in own], mode="markers",
            meta={"kind": kind, "label": label},
            marker={"symbol": symbol, "size": 8, "color": style.colour},
            error_y=_whiskers(own, "delta_w", style.colour), **on,
        )  # fmt: skip
    if finding.get("size") is not None and finding.get("unit") in ("%", "W"):
        ends = np.array([0.0, reach])
        size_w = finding["size"] * ends / 100 if finding["unit"] == "%" else np.full(2, finding["size"])
        _stated(figure, axes, ends, size_w, theme)
    return figure


def _by_kind(report: Mapping[str, Any], label: str, theme: Theme) -> go.Figure:
    """Held power beside riding along and transients: each block a small mark, each kind with its interval."""
    kinds = {b["id"]: b["kind"] for b in report["blocks"] if b.get("excluded_reason") is None}
    pooled = {s["kind"]: s for s in report["summary"] if s["label"] == label and s["delta_pct"] is not None}
    shown = [kind for kind in KINDS if kind in pooled]
    own = {k: [d for d in report["deltas"] if d["label"] == label and kinds.get(d["block"]) == k and d["delta_pct"] is not None]
           for k in shown}  # fmt: skip
    band = bands_of(report).get(label)
    held = [v for k in shown for v in (pooled[k]["delta_pct"], *(pooled[k]["delta_pct_ci"] or ()))]
    limits = limits_around([*held, *(d["delta_pct"] for k in shown for d in own[k]), *(band or ())])
    figure = blank_grid(ONE, theme)
    along = {"tickvals": list(range(len(shown))), "ticktext": shown, "range": [-0.5, len(shown) - 0.5]}
    name = row_difference(label, report["reference"], "%")
    axes = add_panel(figure, ONE, 0, theme=theme, along=along, limits=limits, name=name)
    if band:
        add_shade(figure, axes, band, theme, name="allowance")
    style, shape = device_style(report, label, theme)
    on = {"xaxis": axes[0], "yaxis": axes[1], "mode": "markers"}
    for place, kind in enumerate(shown):
        many = max(len(own[kind]) - 1, 1)
        figure.add_scatter(
            x=[place - 0.3 + 0.2 * i / many for i in range(len(own[kind]))], y=[d["delta_pct"] for d in own[kind]],
            meta={"kind": kind, "label": label}, marker={"symbol": f"{shape}-open", "size": 5, "color": style.colour}, **on,
        )  # fmt: skip
        figure.add_scatter(
            x=[place + 0.12], y=[pooled[kind]["delta_pct"]], meta={"kind": f"all {kind}", "label": label},
            marker={"symbol": shape, "size": 10, "color": style.colour},
            error_y=_whiskers([pooled[kind]], "delta_pct", style.colour), **on,
        )  # fmt: skip
    return figure


def _lost(report: Mapping[str, Any], trial: Trial, code: str, label: str, theme: Theme) -> go.Figure:
    """Power of the device and the middle of all over the ride, the lost seconds shaded."""
    consensus = consensus_of(trial)
    lost = dropouts(trial, label, consensus) if code == "dropouts" else stuck(trial, label)
    figure, style = blank_grid(ONE, theme), line_style(trial.labels.index(label), theme)
    first, last = (lost.spans[0][0], lost.spans[-1][1]) if lost.spans else (trial.start_s, trial.end_s)
    room = max(60.0, LOST_MARGIN_FRAC * trial.duration_s)
    view = (max(first - room, trial.start_s), min(last + room, trial.end_s))
    ticks = clock_ticks(*view, most=6)
    along = {"range": list(view), "tickvals": ticks, "ticktext": [clock_text(t) for t in ticks]}
    inside = (trial.second_s >= view[0]) & (trial.second_s < view[1])
    at, own, middle = trial.second_s[inside] + 0.5, trial.per_second(label)[inside], consensus.power_w[inside]
    top = float(np.nanmax(np.concatenate((own, middle, [50.0]))))
    name = f"{shortened(label, 2 * ROW_LETTERS)}, and the middle of all [W]"
    axes = add_panel(figure, ONE, 0, theme=theme, along=along, limits=(0, 1.06 * top), name=name, tick=str)
    for start_s, end_s in lost.spans:
        figure.add_shape(
            type="rect", xref=axes[0], yref=f"{axes[1]} domain", x0=start_s, x1=end_s, y0=0, y1=1, layer="below",
            fillcolor=faded(style.colour, 0.25), line={"width": 0.6, "color": style.colour}, name="lost",
        )  # fmt: skip
    for y, colour, width, kind in ((middle, ink_of(theme).muted, 1.0, "middle"), (own, style.colour, 1.6, "device")):
        figure.add_scatter(
            x=at, y=y, mode="lines", xaxis=axes[0], yaxis=axes[1], line={"color": colour, "width": width},
            meta={"kind": kind, "label": label},
        )  # fmt: skip
    return figure


def _whiskers(entries: list[Mapping[str, Any]], key: str, colour: str) -> dict[str, Any]:
    limits = [(d[key], d.get(f"{key}_ci") or (d[key], d[key])) for d in entries]
    return {
        "array": [ci[1] - value for value, ci in limits], "arrayminus": [value - ci[0] for value, ci in limits],
        "color": faded(colour, 0.55), "thickness": 1.2, "width": 0,
    }  # fmt: skip


def _stated(figure: go.Figure, axes: tuple[str, str], x: np.ndarray, y: np.ndarray, theme: Theme) -> None:
    figure.add_scatter(
        x=x, y=y, mode="lines", xaxis=axes[0], yaxis=axes[1], meta={"kind": "stated"},
        line={"color": ink_of(theme).text, "width": 1.4, "dash": "longdash"},
    )  # fmt: skip
