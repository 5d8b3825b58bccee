"""What the analysis states about each device, with both sides and what would settle it, and all causes side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from analysis.figures import against_height_px
from app import ids
from app.views import parts
from app.views.chapters import Chapter, Material
from app.views.frozen import frozen
from app.views.pictures import fold, stacking_table
from app.wording import NOTHING, number, signed, size_digits, span, unbroken, unit_words, with_unit

UNEXPLAINING = frozenset({"none", "clock"})  # a clock is corrected and explains no difference
# Where the picture or the figures behind a finding stand.
_FOLLOWS, _AGREES, _RESPONDS, _RECORDED = (
    ("dependence", "what it follows"),
    ("agreement", "agreement, drawn"),
    ("response", "response, drawn"),
    ("recordings", "the recording"),
)
SHOWN_IN = {
    **dict.fromkeys(("temperature", "drift", "cadence", "single-sided", "steady-bias"), _FOLLOWS),
    **dict.fromkeys(("gain", "offset", "gained-power"), _AGREES),
    **dict.fromkeys(("lag", "smoothing"), _RESPONDS),
    **dict.fromkeys(("dropouts", "stuck"), _RECORDED),
    "clock": ("alignment", "the clocks"),
}
SIDES = (("evidence", "For"), ("against", "Against"), ("settle", "To settle it"))


def findings_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """Every device's findings, the device that most needs explaining first; its causes side by side in a fold."""
    return FINDINGS.section(number_, report, labels)


def _body(told: Material) -> list[Any]:
    report, labels = told.report, told.labels
    devices = [_device(report, label, labels) for label in by_need(report, labels[1:])]
    body = [frozen(device) for device in devices if device is not None] or [html.P("Nothing that the data ask to be explained.")]
    return [*body, _picture(report, labels)]


FINDINGS = Chapter(
    name="findings",
    title="Findings",
    meaning=(
        "What the data need, and no more: each statement has a size, an interval, what speaks for and against it and what "
        "would settle it. The device that most needs explaining comes first, and for each the cause that explains most."
    ),
    body=_body,
)


def by_need(report: Mapping[str, Any], devices: Sequence[str]) -> list[str]:
    """Devices outside their allowance first, then those with a finding, then the further from the allowance's middle."""

    def need(label: str) -> tuple[bool, bool, float]:
        rows = {s["kind"]: s for s in report["summary"] if s["label"] == label}
        row = rows.get("steady") or rows.get("all") or {}
        explained = any(f["label"] == label and f["code"] not in UNEXPLAINING for f in report["findings"])
        return row.get("verdict") != "outside", not explained, -abs(row.get("en") or 0.0)

    return sorted(devices, key=need)


def _device(report: Mapping[str, Any], label: str, labels: Sequence[str]) -> html.Div | None:
    own = [f for f in report["findings"] if f["label"] == label]
    tried = [h for h in report.get("hypotheses") or () if h["label"] == label]
    if not own and not tried:
        return None
    items = html.Ol([_finding(f) for f in own], className="findings")
    return html.Div([html.H3(parts.named(label, labels)), items, _causes(label, tried)], className="finding-device")


def _finding(finding: Mapping[str, Any]) -> html.Li:
    facts = [html.Span(_measure(finding), className="small")] if finding.get("size") is not None else []
    if finding.get("strength") == "likely":
        facts.append(html.Span("likely, not certain", className="small"))
    where = SHOWN_IN.get(finding["code"])
    if where:
        facts.append(html.A(where[1], href=f"#{where[0]}", className="small"))
    pairs = []
    for key, name in SIDES:
        said = finding.get(key) or ()
        sentences = [html.Dd(unbroken(sentence)) for sentence in ((said,) if isinstance(said, str) else said)]
        pairs += [html.Dt(name), *sentences] if sentences else []
    return html.Li(
        [html.P(unbroken(finding["text"]), className="finding-text"), html.P(facts, className="finding-facts")]
        + ([html.Dl(pairs, className="sides")] if pairs else []),
        className=f"finding {finding['code']}",
    )


def _measure(finding: Mapping[str, Any]) -> str:
    digits = size_digits(finding["code"], finding.get("unit"))
    name = "difference" if finding["code"] == "none" else finding["code"].replace("-", " ")
    between = f", 95 % interval {span(finding['ci'], digits)}" if finding.get("ci") and None not in finding["ci"] else ""
    # a width and a count of seconds are no differences and carry no sign
    write = number if finding["code"] in ("smoothing", "dropouts", "stuck") else signed
    return f"{name} {with_unit(write(finding['size'], digits), unit_words(finding.get('unit')))}{between}"


def _causes(label: str, tried: Sequence[Mapping[str, Any]]) -> html.Details | None:
    """Every cause that was held up against the data, asserted or not; None where none was."""
    if not tried:
        return None
    head = ("cause", "stated", "size", "95 % interval", "explains, %", "for", "against", "to settle it")
    table = stacking_table(f"Causes tried for {label}", head, [_cause(h) for h in tried], words=(1, 5, 6, 7))
    stated = sum(h["asserted"] for h in tried)
    note = (
        "“Explains” is the share of what a constant ratio leaves unexplained that the cause takes away by itself; causes that "
        "rise together take away the same share."
    )
    return fold(f"All {len(tried)} causes tried for {label}, {stated or 'none'} stated", table, html.P(note, className="small"))


def _cause(cause: Mapping[str, Any]) -> list[Any]:
    digits, explained = size_digits(cause["code"], cause["unit"]), cause.get("explained_frac")
    mark = html.Span([html.Span("●", className="mark", **{"aria-hidden": "true"}), "stated"], className="stated")
    write = number if cause["code"] in ("smoothing", "dropouts", "stuck") else signed
    return [
        cause["code"].replace("-", " "),
        mark if cause["asserted"] else html.Span("no", className="small"),
        with_unit(write(cause["size"], digits), unit_words(cause["unit"])),
        span(cause["ci"], digits),
        NOTHING if explained is None else number(100 * explained, 0),
        _sentences(cause["evidence_for"]),
        _sentences(cause["evidence_against"]),
        unbroken(cause.get("settle") or NOTHING),
    ]


def _sentences(said: Sequence[str]) -> Any:
    return [html.Span(unbroken(sentence), className="said") for sentence in said] or NOTHING


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
