"""Delta table by block (a row selects its block) and the summary by kind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from app.views import parts
from app.wording import KIND_MEANS, NOTHING, clock_text, number, signed, span, span_or_short

DEVICE_COLUMNS = 4


def block_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """Section with the delta table.

    The roles repeat what a table is anyway: on a phone its rows are laid out as cards, and a browser would then forget.
    """
    meaning = (
        "The ride, cut where its character changes; the same cut for every device. A delta is device minus reference, "
        "in percent of the reference, over the settled part of the block."
    )
    rows = [_row(block, report, labels) for block in report["blocks"]]
    caption = html.Caption("Delta by block. Click a row, or press Enter on it, to select the block on the overlay.")
    table = html.Table([caption, _head(labels), html.Tbody(rows, role="rowgroup")], className="block-table", role="table")
    return parts.section(number_, "blocks", "Differences, block by block", meaning, scrolling(table, "Delta by block"))


def _head(labels: Sequence[str]) -> html.Thead:
    first = ["block", "from–to", "long", f"{labels[0]}, W"]
    fixed = [html.Th(name, scope="col", rowSpan="2", className="num" if i else "") for i, name in enumerate(first)]
    groups = [html.Th(parts.named(d, labels), scope="colgroup", colSpan=str(DEVICE_COLUMNS)) for d in labels[1:]]
    names = ("delta, W", "delta, %", "95 % interval", "verdict")
    columns = [
        html.Th(name, scope="col", className=f"num{' first' if i == 0 else ''}" if i < 3 else "")
        for _ in labels[1:]
        for i, name in enumerate(names)
    ]
    return html.Thead([html.Tr([*fixed, *groups]), html.Tr(columns)])


def _row(block: Mapping[str, Any], report: Mapping[str, Any], labels: Sequence[str]) -> html.Tr:
    deltas = {d["label"]: d for d in report["deltas"] if d["block"] == block["id"]}
    reference_w = next((d["reference_mean_w"] for d in deltas.values() if d["reference_mean_w"] is not None), None)
    edited = " (edited)" if block.get("edited") else ""
    name = html.Th(
        [
            html.Span(block.get("letter") or block["kind"][0].upper(), className=f"block-letter {block['kind']}"),
            html.Span((block.get("name") or KIND_MEANS[block["kind"]]) + edited, className="block-name"),
            html.Span(f" {block['id']}", className="small"),
        ],
        scope="row",
        role="rowheader",
    )
    cells = [
        name,
        html.Td(parts.stretch_text(block["start_s"], block["end_s"]), className="num when", role="cell"),
        html.Td(clock_text(block["end_s"] - block["start_s"]), className="num long", role="cell"),
        html.Td(number(reference_w), className="num reference-w", role="cell"),
    ]
    for label in labels[1:]:
        cells += _delta_cells(label, deltas.get(label))
    start_s, end_s = selected_stretch(block)
    data = {"data-from": str(start_s), "data-to": str(end_s), "data-start": str(block["start_s"])}
    return html.Tr(
        cells,
        tabIndex="0",
        role="row",
        className=f"block-row {block['kind']}",
        **{**data, "data-end": str(block["end_s"]), "data-block": block["id"], "aria-selected": "false"},
    )


def selected_stretch(block: Mapping[str, Any]) -> tuple[float, float]:
    """What selecting a block selects: the stretch its delta is taken from, so that card and table agree. [s]"""
    start_s, end_s = block.get("interior_start_s"), block.get("interior_end_s")
    if start_s is None or end_s is None or end_s <= start_s:
        return block["start_s"], block["end_s"]
    return start_s, end_s


def _delta_cells(label: str, entry: Mapping[str, Any] | None) -> list[html.Td]:
    entry = entry or {"delta_w": None, "delta_pct": None, "delta_pct_ci": None, "verdict": None}
    return [
        html.Td(signed(entry["delta_w"]), className="num first delta-w", role="cell"),
        html.Td(html.Strong(signed(entry["delta_pct"])), className="num delta-pct", role="cell", **{"data-device": label}),
        html.Td(span_or_short(entry["delta_pct_ci"], entry.get("reason")), className="num delta-ci", role="cell"),
        html.Td(parts.verdict_mark(entry["verdict"], entry.get("reason")), className="delta-verdict", role="cell"),
    ]


def summary_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """Section with one row per device and kind, and the allowance it is held against."""
    meaning = (
        "Blocks of one kind taken together; with several blocks, their spread makes the interval. "
        "Held power tells whether a device reads true; the other kinds tell whether it also keeps up."
    )
    order = {label: i for i, label in enumerate(labels)}
    entries = sorted(report["summary"], key=lambda entry: order.get(entry["label"], len(order)))
    limits = parts.range_limits(entries)
    names = (
        "device",
        "kind",
        "blocks",
        "mean, W",
        "delta, W",
        "delta, %",
        "95 % interval, %",
        "allowance, %",
        "likely, %",
    )
    head = [html.Th(name, scope="col", className="num" if i > 1 else "") for i, name in enumerate(names)]
    head += [html.Th("drawn", scope="col"), html.Th("verdict", scope="col")]
    rows = [_summary_row(entry, entries[i - 1] if i else None, labels, limits) for i, entry in enumerate(entries)]
    caption = html.Caption("Delta by kind, against the worst-case allowance; the likely allowance stands beside it.")
    table = html.Table([caption, html.Thead(html.Tr(head)), html.Tbody(rows)], className="summary-table")
    return parts.section(number_, "summary", "Differences, kind by kind", meaning, scrolling(table, "Delta by kind"))


def _summary_row(
    entry: Mapping[str, Any], before: Mapping[str, Any] | None, labels: Sequence[str], limits: tuple[float, float]
) -> html.Tr:
    new = before is None or before["label"] != entry["label"]
    device = html.Th(
        parts.named(entry["label"], labels) if new else html.Span(entry["label"], className="hidden-text"), scope="row"
    )
    figures = (
        str(entry.get("blocks") or NOTHING),
        number(entry["mean_w"]),
        signed(entry["delta_w"]),
        html.Strong(signed(entry["delta_pct"])),
        span_or_short(entry["delta_pct_ci"], entry.get("reason")),
        span(entry["allowance_pct"]),
        span(entry["likely_allowance_pct"]),
    )
    return html.Tr(
        [
            device,
            html.Td(f"{entry['kind']}: {KIND_MEANS[entry['kind']]}"),
            *(html.Td(figure, className="num") for figure in figures),
            html.Td(parts.range_mark(entry, limits), className="drawn"),
            html.Td(parts.verdict_mark(entry["verdict"], entry.get("reason"))),
        ],
        className="group-start" if new else "",
    )


def scrolling(table: html.Table, name: str) -> html.Div:
    """A wide table scrolls inside its own box, never the page; the box takes the keyboard."""
    return html.Div(table, className="table-box", tabIndex="0", role="region", **{"aria-label": name})
