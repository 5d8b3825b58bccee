"""The interval card: what is selected, and what each device reads over it, held against its allowance."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.trial import Trial
from app.views import parts
from app.wording import length, number, signed, span, span_or_short, with_unit


def interval_card(
    judged: Sequence[Mapping[str, Any]],
    trial: Trial,
    window: tuple[float, float] | None,
    *,
    problem: str | None = None,
    about: Any = None,
) -> html.Div:
    """The card's content; `judged` holds the delta fields per device, `window` is None for the whole trial.

    `data-window` tells the selection script which interval these figures belong to; `about` says which block that is.
    """
    head = _head(trial, window, about)
    if problem:
        head.append(parts.notice(problem))
    reference_w = next((j["reference_mean_w"] for j in judged if j["reference_mean_w"] is not None), None)
    reference = html.Div(
        [
            parts.named(trial.reference, trial.labels),
            html.Span("reference", className="small"),
            html.Span(with_unit(number(reference_w), "W"), className="card-mean"),
        ],
        className="card-row",
    )
    limits = parts.range_limits(judged)
    rows = [_device(entry, trial, limits, reference_w) for entry in judged]
    return html.Div([*head, reference, *rows], **_window_data(trial, window))


def power_card(
    means: Mapping[str, float], trial: Trial, window: tuple[float, float] | None, *, about: Any = None
) -> html.Div:
    """The card while no delta may be shown: `means` of power_w and cadence_rpm over the interval, NaN where there are none."""
    rows = [
        html.Div([html.Span(name), html.Span(with_unit(number(value), unit), className="card-mean")], className="card-row")
        for name, unit, value in (("power", "W", _there(means["power_w"])), ("cadence", "rpm", _there(means["cadence_rpm"])))
    ]
    source = html.P(f"The {trial.reference}; no device is told apart yet.", className="small reason")
    return html.Div([*_head(trial, window, about), *rows, source], **_window_data(trial, window))


def _head(trial: Trial, window: tuple[float, float] | None, about: Any) -> list[Any]:
    start_s, end_s = window or (trial.start_s, trial.end_s)
    return [
        html.P("Whole trial" if window is None else "Interval", className="overline"),
        html.P(parts.stretch_text(start_s, end_s), className="card-span"),
        html.P(length(end_s - start_s), className="small"),
        *(about or ()),
    ]


def _window_data(trial: Trial, window: tuple[float, float] | None) -> dict[str, str]:
    start_s, end_s = window or (trial.start_s, trial.end_s)
    return {"data-window": f"{start_s:.3f} {end_s:.3f}"}


def _there(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _device(entry: Mapping[str, Any], trial: Trial, limits: tuple[float, float], shown_reference_w: float | None) -> html.Div:
    top = html.Div(
        [
            parts.named(entry["label"], trial.labels),
            html.Span(with_unit(number(entry["mean_w"]), "W"), className="card-mean"),
        ],
        className="card-row",
    )
    judged = html.Div(
        [
            parts.verdict_mark(entry["verdict"], entry.get("reason")),
            html.Strong(with_unit(signed(entry["delta_pct"]), "%"), className="card-delta"),
        ],
        className="card-row",
    )
    pairs = [
        ("95 % interval", with_unit(span_or_short(entry["delta_pct_ci"], entry.get("reason")), "%")),
        ("allowance", with_unit(span(entry["allowance_pct"]), "%")),
        ("in watts", with_unit(signed(entry["delta_w"]), "W")),
        ("95 % interval", with_unit(span_or_short(entry["delta_w_ci"], entry.get("reason")), "W")),
    ]
    own_reference = number(entry["reference_mean_w"])
    if entry["reference_mean_w"] is not None and own_reference != number(shown_reference_w):
        # a device with a hole is held against the reference over the seconds that both have
        pairs.append((f"{trial.reference} meanwhile", with_unit(own_reference, "W")))
    figures = html.Dl([piece for name, value in pairs for piece in (html.Dt(name), html.Dd(value))])
    reason = html.P(entry.get("reason") or "", className="small reason")
    return html.Div([top, judged, parts.range_mark(entry, limits), figures, reason], className="card-device")
