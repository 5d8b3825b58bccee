"""The interval card: what is selected, and what each device reads over it, held against its allowance."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.trial import Trial
from analysis.within import Within
from app.screen import Unit
from app.views import parts
from app.wording import counted, length, number, signed, span, span_or_short, with_unit

UNITS: dict[Unit, str] = {"pct": "%", "w": "W"}


def interval_card(
    judged: Sequence[Mapping[str, Any]],
    trial: Trial,
    window: tuple[float, float] | None,
    *,
    against: str | None = None,
    unit: Unit = "pct",
    problem: str | None = None,
    about: Any = None,
    more: Sequence[Within] = (),
    response: Mapping[str, Mapping[str, Any]] | None = None,
) -> html.Div:
    """The card's content; `judged` holds the delta fields per device, `window` is None for the whole trial.

    `against` is whom the devices are held against, None for the reference; `unit` is that of the large figure.
    `data-window` tells the selection script which interval these figures belong to; `about` says which block that is;
    `more` holds what else the interval shows of each recording, `response` the result's entry per device.
    """
    held = against or trial.reference
    head = _head(trial, window, about)
    if problem:
        head.append(parts.notice(problem))
    if held != trial.reference:
        head.append(html.P(f"A look at another pair; headline and findings are against {trial.reference}.", className="small"))
    reference_w = next((j["reference_mean_w"] for j in judged if j["reference_mean_w"] is not None), None)
    seen = {one.label: one for one in more}
    reference = html.Div(
        [
            parts.named(held, trial.labels),
            html.Span("reference" if held == trial.reference else "held against", className="small"),
            html.Span(with_unit(number(reference_w), "W"), className="card-mean"),
        ],
        className="card-row",
    )
    own = seen.get(held)
    aside = html.P(f"cadence {_cadence(own)}{_lost(own)}", className="small card-aside") if own else None
    limits = parts.range_limits(judged)
    folds = {label: card_details(one, trial.labels.index(label), (response or {}).get(label)) for label, one in seen.items()}
    rows = [
        _device(entry, trial, limits, reference_w, folds.get(entry["label"]), held=held, unit=unit) for entry in judged
    ]
    return html.Div([*head, reference, aside, *rows], **_window_data(trial, window))


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


def _device(
    entry: Mapping[str, Any],
    trial: Trial,
    limits: tuple[float, float],
    shown_reference_w: float | None,
    fold: Any,
    *,
    held: str,
    unit: Unit,
) -> html.Div:
    top = html.Div(
        [
            parts.named(entry["label"], trial.labels),
            html.Span(with_unit(number(entry["mean_w"]), "W"), className="card-mean"),
        ],
        className="card-row",
    )
    delta = {one: with_unit(signed(entry[f"delta_{one}"]), sign) for one, sign in UNITS.items()}
    interval = {one: with_unit(span_or_short(entry[f"delta_{one}_ci"], entry.get("reason")), s) for one, s in UNITS.items()}
    judged = html.Div(
        [
            parts.verdict_mark(entry["verdict"], entry.get("reason")),
            html.Strong(delta[unit], className="card-delta"),
        ],
        className="card-row",
    )
    pairs = [
        ("95 % interval", interval[unit]),
        ("allowance, worst", with_unit(span(entry["allowance_pct"]), "%")),
        ("allowance, likely", with_unit(span(entry["likely_allowance_pct"]), "%")),
        ("in watts", delta["w"]) if unit == "pct" else ("in percent", delta["pct"]),
        ("95 % interval", interval["w" if unit == "pct" else "pct"]),
    ]
    own_reference = number(entry["reference_mean_w"])
    if entry["reference_mean_w"] is not None and own_reference != number(shown_reference_w):
        # a device with a hole is held against the other over the seconds that both have
        pairs.append((f"{held} meanwhile", with_unit(own_reference, "W")))
    figures = html.Dl([piece for name, value in pairs for piece in (html.Dt(name), html.Dd(value))])
    reason = html.P(entry.get("reason") or "", className="small reason")
    return html.Div([top, judged, parts.range_mark(entry, limits), figures, reason, fold], className="card-device")


def card_details(one: Within, index: int, response: Mapping[str, Any] | None) -> html.Details:
    """Folded below a device: its peaks beside the other's, cadence, seconds lost; and its lag, which no interval changes.

    `response` is None where no lag of this pair is known.

    `assets/17-folds.js` keeps it open while the interval moves.
    """
    lost = f"{with_unit(str(one.lost_s), 's')} in {counted(one.lost_runs, 'run')}" if one.lost_runs else "none"
    pairs = [("cadence", _cadence(one)), ("drop-outs", lost)]
    if response is not None:
        pairs.append(("response lag", lag_words(response)))
    facts = html.Dl([piece for name, value in pairs for piece in (html.Dt(name), html.Dd(value))])
    lag_note = "The lag is a property of the device, found over the whole trial; not of this interval."
    about_lag = html.P(lag_note, className="small") if response is not None else None
    inner = [_peaks(one), facts, about_lag]
    head = "Peaks, cadence, lag, drop-outs" if response is not None else "Peaks, cadence, drop-outs"
    return html.Details([html.Summary(head), *inner], **{"data-fold": f"card-{index}"})


def lag_words(response: Mapping[str, Any] | None) -> str:
    """The result's response lag of a device with its interval, `+0.42 s (+0.31 to +0.55)`."""
    lag = (response or {}).get("lag_s")
    return f"{with_unit(signed(lag, 2), 's')} ({span(response['lag_ci_s'], 2)})" if lag is not None else "not told"


def _peaks(one: Within) -> Any:
    if not one.peaks:
        return html.P("No second that both cover, so no peak.", className="small")
    head = html.Tr([html.Th(name, scope="col", className=kind) for name, kind in
                    (("best", None), ("W", "num"), ("Δ W", "num"), ("Δ %", "num"))])  # fmt: skip
    rows = [
        html.Tr([html.Th(with_unit(str(p.duration_s), "s"), scope="row"),
                 *(html.Td(text, className="num") for text in (number(p.best_w, 0), signed(p.delta_w, 0), signed(p.delta_pct)))])
        for p in one.peaks
    ]  # fmt: skip
    caption = html.Caption("Best means in the interval, each device's own", className="hidden-text")
    return html.Table([caption, html.Thead(head), html.Tbody(rows)], className="card-peaks")


def _cadence(one: Within) -> str:
    return with_unit(number(one.cadence_rpm, 0), "rpm") if one.cadence_rpm is not None else "not recorded"


def _lost(one: Within) -> str:
    return f", {with_unit(str(one.lost_s), 's')} lost" if one.lost_s else ""
