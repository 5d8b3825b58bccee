"""Agreement over blocks: bias and limits with their intervals, lines with errors in both, each recording's own noise."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.figures import scatter_height_px, shown_agreements
from app.views import parts
from app.views.chapters import Chapter, Material
from app.views.frozen import frozen
from app.views.pictures import fold, lazy_picture, plain_table
from app.wording import NOTHING, number, signed, span, unbroken

SCATTER = "scatter"


def agreement_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """Limits of agreement with their picture, straight lines, own noise."""
    return AGREEMENT.section(number_, report, labels)


def _body(told: Material) -> list[Any]:
    report, labels, entries = told.report, told.labels, told.report["agreement"]
    if not entries:
        return [frozen(html.P("Too few blocks to say how far two recordings scatter about each other."))]
    head = (
        "device", "blocks", "mean delta, W", "95 % interval, W", "lower limit, W", "its interval, W", "upper limit, W",
        "its interval, W",
    )  # fmt: skip
    limits = plain_table("Bias and limits of agreement", head, [_limits(entry, labels) for entry in entries])
    return [frozen(limits), _picture(report), frozen(_lines(entries, labels), _noise(report, labels))]


AGREEMENT = Chapter(
    name="agreement",
    title="Agreement",
    meaning=(
        "How far apart the two may lie in one block, and whether they differ by a factor or by a constant. "
        "Own noise is what a device adds by itself; it needs three recordings or more."
    ),
    body=_body,
)


def _limits(entry: Mapping[str, Any], labels: Sequence[str]) -> list[Any]:
    low, high = entry["limits_w"] or (None, None)
    low_ci, high_ci = entry.get("limits_ci_w") or (None, None)
    return [
        parts.named(entry["label"], labels),
        str(entry.get("blocks", NOTHING)),
        html.Strong(signed(entry["bias_w"])),
        span(entry.get("bias_ci_w")),
        signed(low),
        span(low_ci),
        signed(high),
        span(high_ci),
    ]


def _picture(report: Mapping[str, Any]) -> html.Figure | None:
    shown = shown_agreements(report)
    if not shown:
        return None
    basis = shown[0].get("basis", "held blocks")
    caption = (
        f"Each mark is the mean of one of the {basis}. Full line: mean difference; dashed: the limits that about 95 of 100 such "
        "blocks keep, each with the interval that so few blocks leave it. The wedge is the allowance."
    )
    says = "Difference over the mean of the two, block by block, with limits of agreement; the figures are in the table above"
    return lazy_picture(SCATTER, scatter_height_px(report), caption=caption, says=says)


def _lines(entries: Sequence[Mapping[str, Any]], labels: Sequence[str]) -> html.Div | None:
    """Errors in both devices: factor and constant, and whether the difference grows with power."""
    stated = [e for e in entries if e.get("slope") is not None]
    if not stated:
        return html.Div([html.P(unbroken(e["note"]), className="small") for e in entries if e.get("note")])
    head = (
        "device",
        "slope",
        "95 % interval",
        "intercept, W",
        "95 % interval, W",
        "from–to, W",
        "tilt, W per 100 W",
        "95 % interval",
    )
    table = plain_table("Straight line through block means (Deming)", head, [_line(e, labels) for e in stated])
    robust = [[parts.named(e["label"], labels), name, *_robust(e[key])] for e in stated for key, name in _ROBUST if e.get(key)]
    head = ("device", "line", "slope", "95 % interval", "intercept, W", "blocks")
    notes = [html.P(unbroken(e["note"]), className="small") for e in entries if e.get("note") and e not in stated]
    meant = html.P(
        "Both devices are taken to err. A tilt is the change of the difference with the mean of the two; where its "
        "interval holds zero, a constant and a factor cannot be told apart by it.",
        className="small",
    )
    more = fold(
        "Lines that trust no single block, and correlation",
        plain_table("The same, robust", head, robust, words=(1,)),
        *_correlation(stated),
    )
    return html.Div([table, meant, *notes, more], className="lines")


_ROBUST = (("theil_sen", "Theil–Sen"), ("passing_bablok", "Passing–Bablok"))


def _line(entry: Mapping[str, Any], labels: Sequence[str]) -> list[Any]:
    tilt, low_high = entry.get("proportional") or {}, entry.get("range_w")
    per_100 = tilt.get("slope")
    return [
        parts.named(entry["label"], labels),
        html.Strong(number(entry["slope"], 3)),
        _plain_span(entry.get("slope_ci"), 3),
        signed(entry["intercept_w"]),
        span(entry.get("intercept_ci_w")),
        f"{number(low_high[0], 0)}–{number(low_high[1], 0)}" if low_high else NOTHING,
        signed(None if per_100 is None else 100 * per_100),
        span([100 * edge for edge in tilt["ci"]] if tilt.get("ci") else None),
    ]


def _robust(line: Mapping[str, Any]) -> list[str]:
    return [number(line["slope"], 3), _plain_span(line.get("slope_ci"), 3), signed(line["intercept"]), str(line["n"])]


def _correlation(entries: Sequence[Mapping[str, Any]]) -> list[html.P]:
    told = [e for e in entries if e.get("correlation") is not None]
    figures = ", ".join(f"{e['label']} {number(e['correlation'], 4)}" for e in told)
    return [html.P(f"Correlation over block means: {figures}. {told[0]['correlation_note']}", className="small")] if told else []


def _noise(report: Mapping[str, Any], labels: Sequence[str]) -> html.Div | None:
    """Each recording's own second-to-second scatter, with what limits the figure."""
    entries = report.get("noise") or ()
    if not entries:
        return None
    head = ("recording", "own noise, W", "variance, W²", "95 % interval, W²", "seconds")
    rows = [
        [
            parts.named(n["label"], labels),
            html.Strong(number(n["noise_w"])) if n["noise_w"] is not None else NOTHING,
            number(n["variance_w2"]),
            span(n["variance_ci_w2"]),
            str(n["seconds"]),
        ]
        for n in entries
    ]
    said: dict[str, list[str]] = {}
    for n in entries:
        said.setdefault(n["note"], []).append(n["label"])
    notes = [html.P(unbroken(f"{', '.join(who)}: {note}"), className="small") for note, who in said.items() if note]
    return html.Div([plain_table("Own noise, from all recordings together", head, rows), *notes], className="own-noise")


def _plain_span(limits: Sequence[float | None] | None, digits: int) -> str:
    """An interval of figures that are no differences."""
    return NOTHING if not limits or None in limits else f"{number(limits[0], digits)} to {number(limits[1], digits)}"
