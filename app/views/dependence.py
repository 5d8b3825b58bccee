"""What the difference follows: curves per device, and the same in figures; held power level by level; zeros both ways."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.figures import curves_of, dependence_height_px
from app.views import parts
from app.views.cells import Cell, either, ends_of, figure, limits_pct, words
from app.views.chapters import Chapter, Material
from app.views.findings import by_need
from app.views.frozen import frozen
from app.views.pictures import fold, lazy_picture, plain_table, subsection
from app.wording import KIND_MEANS, NOTHING, number, signed, span, span_or_short, unbroken

CURVES = "curves"
TIMES = {"time": 0, "power": 0, "cadence": 0}  # decimals along; whole units are as fine as a bin is wide


def levels_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """Held power by level, and what leaving out zeros does."""
    return LEVELS.section(number_, report, labels)


LEVELS = Chapter(
    name="levels",
    title="Differences, level by level",
    meaning=(
        "Holds of about the same power taken together: a factor shows as the same percentage at every level, a constant as "
        "the same watts. Below it, what becomes of the difference when moments without pedalling are left out."
    ),
    body=lambda told: [_levels(told.report, told.labels), _zeros(told.report, told.labels)],
    follows_pair=True,
)


def _levels(report: Mapping[str, Any], labels: Sequence[str]) -> Any:
    levels = report.get("levels") or ()
    if not levels:
        return html.P("No power was held long enough to speak of levels.")
    head = (
        "device", "level, W", "blocks", "mean, W", "delta, W", "delta, %", either("95 % interval, %", "95 % interval, W"),
        "allowance, %", "verdict",
    )  # fmt: skip
    rows = [_level(entry, levels[i - 1] if i else None, labels) for i, entry in enumerate(levels)]
    marks = [{"data-verdict": entry["verdict"] or ""} for entry in levels]
    return plain_table("Held power, by level", head, rows, words=(8,), marks=marks)


def _level(entry: Mapping[str, Any], before: Mapping[str, Any] | None, labels: Sequence[str]) -> list[Any]:
    low, high, reason = number(entry["from_w"], 0), number(entry["to_w"], 0), entry.get("reason")
    level = html.Span(low if low == high else f"{low}–{high}", title=", ".join(entry["block_ids"]))
    return [
        parts.named_once(entry, before, labels),
        figure(level, entry["level_w"]),
        str(entry["blocks"]),
        figure(number(entry["mean_w"]), entry["mean_w"]),
        figure(html.Span(signed(entry["delta_w"]), className="delta-w"), entry["delta_w"]),
        figure(html.Span(html.Strong(signed(entry["delta_pct"])), className="delta-pct"), entry["delta_pct"]),
        limits_pct(entry),
        Cell(shown=span(entry["allowance_pct"]), data=ends_of(entry["allowance_pct"])),
        words(parts.verdict_mark(entry["verdict"], reason), entry["verdict"] or NOTHING),
    ]


def _zeros(report: Mapping[str, Any], labels: Sequence[str]) -> Any:
    entries = [s for s in report["summary"] if s.get("delta_pct_pedalling") is not None]
    if not entries:
        return None
    order = {label: i for i, label in enumerate(labels)}
    entries = sorted(entries, key=lambda entry: order.get(entry["label"], len(order)))
    head = ("device", "kind", "counted, %", "95 % interval, %", "left out, %", "95 % interval, %", "seconds left out")
    rows = [
        [
            parts.named_once(entry, entries[i - 1] if i else None, labels),
            f"{entry['kind']}: {KIND_MEANS[entry['kind']]}",
            signed(entry["delta_pct"]),
            span_or_short(entry["delta_pct_ci"], entry.get("reason")),
            signed(entry["delta_pct_pedalling"]),
            span_or_short(entry["delta_pct_pedalling_ci"], entry.get("reason")),
            number(max(0.0, entry["n_s"] - entry["n_s_pedalling"]), 0),
        ]
        for i, entry in enumerate(entries)
    ]
    rule = html.P(report.get("zeros_rule") or "", className="small")
    return html.Div([plain_table("Zeros counted and left out", head, rows, words=(1,)), rule], className="zeros")


def dependence_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """One picture of small plots per device, its figures in a fold."""
    return DEPENDENCE.section(number_, report, labels)


def _dependence(told: Material) -> list[Any]:
    report, labels = told.report, told.labels
    devices = [_device(report, label, labels) for label in by_need(report, labels[1:]) if curves_of(report, label)]
    body = devices or [html.P("The ride varied nothing widely enough to lay a difference out along it.")]
    return [*body, _stored(report)]


DEPENDENCE = Chapter(
    name="dependence",
    title="What the difference follows",
    meaning=(
        "The same differences laid out along what the ride varied. A line that stays flat inside the shade follows nothing; "
        "one that climbs names what it follows, or something that rose along with it."
    ),
    body=_dependence,
)


def _device(report: Mapping[str, Any], label: str, labels: Sequence[str]) -> html.Div:
    curves = curves_of(report, label)
    along = ", ".join(c["against"] for c in curves)
    caption = (
        "Each mark is the mean of equally many pieces of the ride, the tint its 95 % band, the shade the allowance. All plots of "
        "a device have one scale."
    )
    picture = lazy_picture(
        f"{CURVES}:{labels.index(label)}",
        dependence_height_px(report, label),
        caption=caption,
        says=f"Difference of {label} along {along}; the figures are in the table below",
    )
    tables = frozen(fold(f"The figures of {label}", *(_curve(curve) for curve in curves)))
    return subsection(parts.named(label, labels), picture, tables)


def _curve(curve: Mapping[str, Any]) -> html.Div:
    unit, digits = curve["unit"], TIMES.get(curve["against"], 1)
    head = (f"{curve['against']}, {unit}", "delta, %", "95 % band, %", "pieces")
    bins = zip(curve["x"], curve["delta_pct"], curve["low"], curve["high"], curve["n"], strict=True)
    rows = [[number(x, digits), html.Strong(signed(d)), span((low, high)), str(n)] for x, d, low, high, n in bins]
    return plain_table(f"{curve['label']} along {curve['against']}", head, rows)


def _stored(report: Mapping[str, Any]) -> Any:
    """Power that goes into speed: it passes the pedals and not the hub in the same second. Blocks where it is a watt or more."""
    telling = [s for s in report.get("stored_energy") or () if abs(s["stored_w"]) >= 1.0]
    if not telling:
        return None
    head = ("block", "kind", "from, m/s", "to, m/s", "into speed, W")
    rows = [
        [s["block"], s["kind"], number(s["from_mps"]), number(s["to_mps"]), html.Strong(signed(s["stored_w"]))] for s in telling
    ]
    first = telling[0]
    note = (
        f"Mean power that went into speed, from the speed that {first['label']} recorded and {number(first['mass_kg'])} kg of "
        "moving mass. In a sprint it may explain why two measuring points differ; over a hold it is nothing."
    )
    name = f"Power that went into speed, in {len(telling)} blocks" if len(telling) > 1 else "Power that went into speed"
    return frozen(fold(name, html.P(unbroken(note), className="small"), plain_table(name, head, rows, words=(1,))))
