"""Findings with their evidence, response with peaks, agreement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from analysis.figures import against_height_px
from app import ids
from app.views import parts
from app.views.frozen import frozen
from app.views.tables import scrolling
from app.wording import NOTHING, number, signed, span, unbroken, with_unit


def findings_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """What the analysis states about each device, the one that explains most first."""
    meaning = (
        "What the data need, and no more: each statement has a size, an interval and what it rests on. "
        "For each device the one that explains most of its difference comes first."
    )
    items = [_finding(finding, labels) for finding in report["findings"]]
    body = html.Ol(items, className="findings") if items else html.P("Nothing that the data ask to be explained.")
    return parts.section(number_, "findings", "Findings", meaning, frozen(body), _picture(report, labels))


def _picture(report: Mapping[str, Any], labels: Sequence[str]) -> html.Figure | None:
    """Held blocks against time, power and cadence; needs held power to say anything."""
    if not any(block["kind"] == "steady" for block in report["blocks"]):
        return None
    chart = dcc.Graph(
        id=ids.AGAINST,
        config={"staticPlot": True, "displayModeBar": False},
        responsive=True,
        style={"height": f"{against_height_px(len(labels) - 1)}px"},
    )
    caption = (
        "Each mark is a held block with its 95 % interval, the shade is the allowance. What climbs along one axis and not "
        "along the others names its cause; a ride whose power and temperature rise together cannot tell them apart."
    )
    return html.Figure(
        [html.Div(chart, **{"aria-hidden": "true"}), html.Figcaption(caption, className="small")],
        className="against",
        **{"aria-label": "Difference of each held block against time, power and cadence; the figures are in section 2"},
    )


def _finding(finding: Mapping[str, Any], labels: Sequence[str]) -> html.Li:
    facts = [parts.named(finding["label"], labels)]
    if finding.get("size") is not None:
        size = with_unit(signed(finding["size"]), finding.get("unit") or "")
        limits = finding.get("ci")
        between = f", 95 % interval {span(limits)}" if limits and None not in limits else ""
        facts.append(html.Span(f"{finding['code'].replace('-', ' ')} {size}{between}", className="small"))
    if finding.get("strength") == "likely":
        facts.append(html.Span("likely, not certain", className="small"))
    evidence = [html.Li(sentence) for sentence in finding.get("evidence") or ()]
    return html.Li(
        [html.P(unbroken(finding["text"]), className="finding-text"), html.P(facts, className="finding-facts")]
        + ([html.Ul(evidence, className="evidence")] if evidence else []),
        className=f"finding {finding['code']}",
    )


def response_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """Lag, rise, smoothing and peak power."""
    meaning = (
        "How a device follows when the power jumps. A lag is positive where the device is later than the reference; "
        "peaks compare the best 1, 5, 10 seconds each device wrote."
    )
    if not report["response"]:
        body: Any = html.P("The ride holds no jump of power from which this could be read.")
        return parts.section(number_, "response", "Response", meaning, body)
    durations = sorted({p["duration_s"] for r in report["response"] for p in r.get("peaks") or ()})
    names = ("device", "events", "lag, s", "95 % interval, s", "rise, s", "reference's rise, s", "smoothing, s")
    head = [html.Th(n, scope="col", className="num" if i else "") for i, n in enumerate(names)]
    head += [html.Th(f"peak {d:g} s, %", scope="col", className="num") for d in durations]
    rows = [_response_row(entry, durations, labels) for entry in report["response"]]
    table = html.Table([html.Thead(html.Tr(head)), html.Tbody(rows)])
    children: list[Any] = [scrolling(table, "Response of each device")]
    untold = [entry["label"] for entry in report["response"] if entry["lag_s"] is None]
    if untold:
        text = (
            f"No lag is given for {', '.join(untold)}: without a signal both recordings share, or without a jump "
            f"of power, "
            "a late device cannot be told from a late clock."
        )
        children.append(parts.notice(text))
    return parts.section(number_, "response", "Response", meaning, *children)


def _response_row(entry: Mapping[str, Any], durations: Sequence[float], labels: Sequence[str]) -> html.Tr:
    peaks = {p["duration_s"]: p["delta_pct"] for p in entry.get("peaks") or ()}
    figures = [
        str(entry["events"]),
        html.Strong(signed(entry["lag_s"], 2)),
        span(entry["lag_ci_s"], 2),
        number(entry["rise_s"]),
        number(entry["reference_rise_s"]),
        number(entry["smoothing_s"]),
        *(signed(peaks.get(d)) for d in durations),
    ]
    return html.Tr([html.Th(parts.named(entry["label"], labels), scope="row"), *(html.Td(f, className="num") for f in figures)])


def agreement_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """Limits of agreement, straight line, own noise."""
    meaning = (
        "How far apart the two may lie in one block, and whether they differ by a factor or by a constant. "
        "Own noise is what a device adds by itself; it needs three recordings or more."
    )
    if not report["agreement"]:
        body: Any = html.P("Too few blocks to say how far two recordings scatter about each other.")
        return parts.section(number_, "agreement", "Agreement", meaning, body)
    names = ("device", "mean delta, W", "limits of agreement, W", "slope", "intercept, W", "own noise, W")
    head = [html.Th(n, scope="col", className="num" if i else "") for i, n in enumerate(names)]
    rows = [_agreement_row(entry, labels) for entry in report["agreement"]]
    table = html.Table([html.Thead(html.Tr(head)), html.Tbody(rows)])
    return parts.section(number_, "agreement", "Agreement", meaning, scrolling(table, "Agreement of each device"))


def _agreement_row(entry: Mapping[str, Any], labels: Sequence[str]) -> html.Tr:
    figures = (
        html.Strong(signed(entry["bias_w"])),
        span(entry["limits_w"]),
        number(entry["slope"], 3),
        signed(entry["intercept_w"]),
        number(entry["noise_w"]) if entry["noise_w"] is not None else NOTHING,
    )
    return html.Tr([html.Th(parts.named(entry["label"], labels), scope="row"), *(html.Td(f, className="num") for f in figures)])
