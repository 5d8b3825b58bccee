"""Delta table by block (a row selects its block) and the summary by kind."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from dash import html

from app.views import parts
from app.views.block_marks import held_line, repeats_of, stretch_of, tags
from app.views.cells import either, ends_of, limits_pct, table_key, value_of
from app.views.chapters import Chapter, Material
from app.wording import KIND_MEANS, NOTHING, clock_text, from_to, number, signed, span

DEVICE_COLUMNS = 4
HELD_MEANS = "Spread is the standard deviation of five-second means, trend the change from start to end, both of the level."


def block_section(
    number_: int, report: Mapping[str, Any], labels: Sequence[str], *, origin: Any = None, table: Sequence[Any] = ()
) -> html.Section:
    """Section with the delta table; `origin` says where the blocks came from, `table` stands in for a bare table."""
    meaning = (
        "The ride, cut where its character changes; the same cut for every device. A delta is device minus reference, "
        "in percent of the reference, over the settled part of the block."
    )
    title = "Differences, block by block"
    if len(labels) == 1:
        meaning, title = "The ride, cut where its character changes.", "The blocks"
    return parts.section(number_, "blocks", title, meaning, origin, *(table or [block_table(report, labels)]))


def block_table(report: Mapping[str, Any], labels: Sequence[str]) -> html.Div:
    """One row per block, for every device that is shown.

    The roles repeat what a table is anyway: on a phone its rows are laid out as cards, and a browser would then forget.
    """
    name = "Delta by block" if len(labels) > 1 else "Blocks"
    devices, repeats = parts.devices_of(report, labels), repeats_of(report["blocks"])
    rows = [_row(block, report, devices, repeats.get(block.get("level_group"), 1)) for block in report["blocks"]]
    caption = html.Caption(f"{name}. Click a row, or press Enter on it, to select the block on the overlay. {HELD_MEANS}")
    reference = report["reference"] if devices else labels[0]
    content = [caption, _head(reference, devices, labels), html.Tbody(rows, role="rowgroup")]
    return scrolling(html.Table(content, className="block-table", role="table", **table_key(name)), name)


def _head(reference: str, devices: Sequence[str], labels: Sequence[str]) -> html.Thead:
    first = ["block", "from–to", "long", f"{reference}, W"]
    fixed = [html.Th(name, scope="col", rowSpan="2", className="num" if i else "") for i, name in enumerate(first)]
    groups = [html.Th(parts.named(d, labels), scope="colgroup", colSpan=str(DEVICE_COLUMNS)) for d in devices]
    names = ("delta, W", "delta, %", either("95 % interval, %", "95 % interval, W"), "verdict")
    columns = [
        html.Th(name, scope="col", className=f"num{' first' if i == 0 else ''}" if i < 3 else "")
        for _ in devices
        for i, name in enumerate(names)
    ]
    return html.Thead([html.Tr([*fixed, *groups]), html.Tr(columns)])


def _row(block: Mapping[str, Any], report: Mapping[str, Any], devices: Sequence[str], repeats: int) -> html.Tr:
    deltas = {d["label"]: d for d in report["deltas"] if d["block"] == block["id"]}
    name = html.Th(
        [
            html.Span(block.get("letter") or block["kind"][0].upper(), className=f"block-letter {block['kind']}"),
            html.Span(block.get("name") or KIND_MEANS[block["kind"]], className="block-name"),
            html.Span(f" {block['id']}", className="small"),
            *tags(block),
            held_line(block, repeats),
        ],
        scope="row",
        role="rowheader",
        **{"data-text": f"{block['id']} {block.get('name') or KIND_MEANS[block['kind']]}"},
    )
    cells = [
        name,
        _cell(
            parts.stretch_text(block["start_s"], block["end_s"]),
            "num when",
            **value_of(block["start_s"]),
            **{"data-text": from_to(block["start_s"], block["end_s"])},
        ),
        _cell(clock_text(block["end_s"] - block["start_s"]), "num long", **value_of(block["end_s"] - block["start_s"])),
        _reference_cell(block, deltas.values()),
    ]
    for label in devices:
        cells += _delta_cells(label, deltas.get(label))
    start_s, end_s = stretch_of(block)
    excluded = " excluded" if block.get("excluded_reason") is not None else ""
    data = {"data-from": str(start_s), "data-to": str(end_s), "data-start": str(block["start_s"])}
    data |= {"data-kind": block["kind"], "data-verdict": " ".join(dict.fromkeys(d["verdict"] for d in deltas.values()))}
    return html.Tr(
        cells,
        tabIndex="0",
        role="row",
        className=f"block-row {block['kind']}{excluded}",
        **{**data, "data-end": str(block["end_s"]), "data-block": block["id"], "aria-selected": "false"},
    )


def reference_cells(report: Mapping[str, Any]) -> list[html.Td]:
    """The cell of every block that holds what its devices are held against, over the seconds that those shown cover."""
    return [_reference_cell(b, [d for d in report["deltas"] if d["block"] == b["id"]]) for b in report["blocks"]]


def _reference_cell(block: Mapping[str, Any], deltas: Collection[Mapping[str, Any]]) -> html.Td:
    reference_w = next((d["reference_mean_w"] for d in deltas if d["reference_mean_w"] is not None), None)
    if not deltas:
        reference_w = block.get("level_w")
    return _cell(number(reference_w), "num reference-w", **value_of(reference_w))


def _delta_cells(label: str, entry: Mapping[str, Any] | None) -> list[html.Td]:
    entry = entry or {"delta_w": None, "delta_pct": None, "delta_pct_ci": None, "verdict": None}
    interval, verdict, device = limits_pct(entry), entry["verdict"], {"data-device": label}
    return [
        _cell(signed(entry["delta_w"]), "num first delta-w", **value_of(entry["delta_w"]), **device),
        _cell(html.Strong(signed(entry["delta_pct"])), "num delta-pct", **value_of(entry["delta_pct"]), **device),
        _cell(interval.shown, "num delta-ci", **interval.data),
        _cell(parts.verdict_mark(verdict, entry.get("reason")), "delta-verdict", **{"data-text": verdict or NOTHING}),
    ]


def _cell(shown: Any, name: str, **data: str) -> html.Td:
    return html.Td(shown, className=name, role="cell", **data)


def _summary(told: Material) -> list[Any]:
    report, labels = told.report, told.labels
    order = {label: i for i, label in enumerate(labels)}
    entries = sorted(report["summary"], key=lambda entry: order.get(entry["label"], len(order)))
    limits = parts.range_limits(entries)
    interval = either("95 % interval, %", "95 % interval, W")
    names = ("device", "kind", "blocks", "mean, W", "delta, W", "delta, %", interval, "allowance, %", "likely, %")
    head = [html.Th(name, scope="col", className="num" if i > 1 else "") for i, name in enumerate(names)]
    head += [html.Th("drawn", scope="col"), html.Th("verdict", scope="col")]
    rows = [_summary_row(entry, entries[i - 1] if i else None, labels, limits) for i, entry in enumerate(entries)]
    caption = html.Caption("Delta by kind, against the worst-case allowance; the likely allowance stands beside it.")
    name = "Delta by kind"
    content = [caption, html.Thead(html.Tr(head)), html.Tbody(rows, role="rowgroup")]
    return [scrolling(html.Table(content, className="summary-table", role="table", **table_key(name)), name)]


SUMMARY = Chapter(
    name="summary",
    title="Differences, kind by kind",
    meaning=(
        "Blocks of one kind taken together; with several blocks, their spread makes the interval. "
        "Held power tells whether a device reads true; the other kinds tell whether it also keeps up."
    ),
    body=_summary,
    follows_pair=True,
)


def summary_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """Section with one row per device and kind, and the allowance it is held against."""
    return SUMMARY.section(number_, report, labels)


def _summary_row(
    entry: Mapping[str, Any], before: Mapping[str, Any] | None, labels: Sequence[str], limits: tuple[float, float]
) -> html.Tr:
    interval, verdict = limits_pct(entry), parts.verdict_mark(entry["verdict"], entry.get("reason"))
    new = before is None or before["label"] != entry["label"]
    figures = (
        (str(entry.get("blocks") or NOTHING), {"data-name": "blocks"}),
        (number(entry["mean_w"]), value_of(entry["mean_w"]) | {"data-name": "mean, W"}),
        (signed(entry["delta_w"]), value_of(entry["delta_w"]) | {"className": "num delta-w"}),
        (html.Strong(signed(entry["delta_pct"])), value_of(entry["delta_pct"]) | {"className": "num delta-pct"}),
        (interval.shown, interval.data | {"data-name": "95 % interval"}),
        (span(entry["allowance_pct"]), ends_of(entry["allowance_pct"]) | {"data-name": "allowance, %"}),
        (span(entry["likely_allowance_pct"]), ends_of(entry["likely_allowance_pct"]) | {"data-name": "likely, %"}),
    )
    return html.Tr(
        [
            html.Th(parts.named_once(entry, before, labels), scope="row", role="rowheader"),
            _cell([html.Span(entry["kind"]), html.Span(f": {KIND_MEANS[entry['kind']]}", className="kind-means")], "kind"),
            *(_cell(shown, data.pop("className", "num"), **data) for shown, data in figures),
            _cell(parts.range_mark(entry, limits), "drawn", **{"data-text": ""}),
            _cell(verdict, "summary-verdict", **{"data-text": entry["verdict"] or NOTHING}),
        ],
        role="row",
        className="group-start" if new else "",
        **{"data-kind": entry["kind"], "data-verdict": entry["verdict"] or ""},
    )


def scrolling(table: html.Table, name: str) -> html.Div:
    """A wide table scrolls inside its own box, never the page; the box takes the keyboard."""
    return html.Div(table, className="table-box", tabIndex="0", role="region", **{"aria-label": name})
