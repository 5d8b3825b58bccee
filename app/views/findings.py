"""What the analysis states about each device, with both sides and what would settle it, and all causes side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from analysis.figures import against_height_px, behind_height_px
from app import ids
from app.views import parts
from app.views.chapters import Chapter, Material
from app.views.frozen import frozen
from app.views.pictures import fold, lazy_picture, stacking_table
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
BEHIND = "behind"
WIDE = frozenset({"lag", "smoothing", "dropouts", "stuck"})
_ALONG = "Each mark is the mean of equally many pieces of the ride, the tint its 95 % band, the shade the allowance; "
_WATTS = "Filled marks are held blocks, open ones riding along, each with its 95 % interval; the wedge is the allowance. "
_CHANGES = (
    "Every change of power, moved so that the reference (solid) passes half its way at zero; bold is the mean of each, thin "
    "lines are the device's single changes. "
)
CAPTIONS = {
    **dict.fromkeys(("temperature", "drift", "cadence"), _ALONG + "the long dashes are the stated slope."),
    "single-sided": _ALONG + "a device that doubles one side follows the left share.",
    "gain": _WATTS + "The long dashes are the stated factor: the same share at every power.",
    "offset": _WATTS + "The long dashes are the stated constant by itself, beside which there may be a factor.",
    "gained-power": _WATTS + "A device further down the drivetrain cannot read more than what went in.",
    "steady-bias": "Small marks are blocks, large ones all of a kind with their 95 % interval; the shade is the allowance.",
    "lag": _CHANGES + "The way between the two bold lines at half height is the lag.",
    "smoothing": _CHANGES + "Where one is smoothed, its line is less steep and reaches the top later.",
    "dropouts": "The device's power over the middle of all recordings; shaded are the seconds without a reading.",
    "stuck": "The device's power over the middle of all recordings; shaded are the seconds in which one value stands still.",
    "clock": "How well each signal matches at each shift; the upright line is the shift in use.",
}
SIDES = (("evidence", "For"), ("against", "Against"), ("settle", "To settle it"))


def findings_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """Every device's findings, the device that most needs explaining first; its causes side by side in a fold."""
    return FINDINGS.section(number_, report, labels)


def _body(told: Material) -> list[Any]:
    report, labels = told.report, told.labels
    devices = [_device(report, label, labels) for label in by_need(report, labels[1:])]
    body = [device for device in devices if device is not None] or [html.P("Nothing that the data ask to be explained.")]
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
    places = {id(f): i for i, f in enumerate(report["findings"])}
    items = html.Ol([_finding(f, places[id(f)], report) for f in own], className="findings")
    return html.Div(
        [frozen(html.H3(parts.named(label, labels))), items, frozen(_causes(label, tried))], className="finding-device"
    )


def _finding(finding: Mapping[str, Any], place: int, report: Mapping[str, Any]) -> html.Li:
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
    text = [html.P(unbroken(finding["text"]), className="finding-text"), html.P(facts, className="finding-facts")]
    sides = html.Dl(pairs, className="sides") if pairs else None
    return html.Li([frozen(*text), _behind(finding, place, report), frozen(sides)], className=f"finding {finding['code']}")


def _behind(finding: Mapping[str, Any], place: int, report: Mapping[str, Any]) -> html.Figure | None:
    """The picture of what the statement rests on; None where it has none."""
    height = behind_height_px(report, finding)
    if height is None:
        return None
    caption = CAPTIONS[finding["code"]]
    says = f"{finding['code'].replace('-', ' ')} of {finding['label']}, drawn; its figures are in the statement above"
    return lazy_picture(f"{BEHIND}:{place}", height, caption=caption, says=says, narrow=finding["code"] not in WIDE)


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
