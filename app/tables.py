"""The report's tables as text: aligned for a terminal, and as CSV that a spreadsheet cannot mistake for formulas."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.cells import defused

NOTHING = "-"

DELTA_NUMBERS = (
    "n_s", "mean_w", "reference_mean_w", "delta_w", "delta_w_ci", "delta_pct", "delta_pct_ci",
    "allowance_pct", "likely_allowance_pct",
)  # fmt: skip
PAIRS = frozenset({"delta_w_ci", "delta_pct_ci", "allowance_pct", "likely_allowance_pct"})


@dataclass(frozen=True, kw_only=True)
class Column:
    """A heading over its unit; figures stand right, words left. The column that gives way first is `squeezed`."""

    heading: str
    unit: str = ""
    right: bool = False
    squeezed: bool = False


BLOCK_COLUMNS = (
    Column(heading="block"),
    Column(heading="kind"),
    Column(heading="start", unit="h:mm:ss", right=True),
    Column(heading="device", squeezed=True),
    Column(heading="mean", unit="W", right=True),
    Column(heading="delta", unit="W", right=True),
    Column(heading="delta", unit="%", right=True),
    Column(heading="95 % interval", unit="%", right=True),
    Column(heading="allowance", unit="%", right=True),
    Column(heading="verdict"),
)
SUMMARY_COLUMNS = (
    Column(heading="over"),
    Column(heading="blocks", right=True),
    *BLOCK_COLUMNS[3:],
)


def block_rows(report: Mapping[str, Any]) -> list[tuple[str, ...]]:
    """One row per block and device, as `BLOCK_COLUMNS` heads them."""
    blocks = {b["id"]: b for b in report["blocks"]}
    return [
        (d["block"], blocks[d["block"]]["kind"], clock(blocks[d["block"]]["start_s"]), d["label"], *_figures(d))
        for d in report["deltas"]
    ]


def summary_rows(report: Mapping[str, Any]) -> list[tuple[str, ...]]:
    """One row per device and kind of block, as `SUMMARY_COLUMNS` heads them."""
    return [(s["kind"], str(s["blocks"]), s["label"], *_figures(s)) for s in report["summary"]]


def aligned(columns: Sequence[Column], rows: Sequence[Sequence[str]], *, width: int) -> str:
    """The table as lines of at most `width` characters; a long device name is cut to make it so."""
    grid = [[c.heading for c in columns], [c.unit for c in columns], *rows]
    widths = [max(len(row[i]) for row in grid) for i in range(len(columns))]
    gap = "  " if sum(widths) + 2 * (len(columns) - 1) <= width else " "
    over = sum(widths) + len(gap) * (len(columns) - 1) - width
    for i, column in enumerate(columns):
        if column.squeezed and over > 0:
            widths[i] = max(widths[i] - over, len(column.heading))
    lines = (gap.join(_cell(text, w, c.right) for text, w, c in zip(row, widths, columns, strict=True)) for row in grid)
    return "\n".join(line.rstrip()[:width] for line in lines)


def deltas_csv(report: Mapping[str, Any]) -> str:
    """The delta table with full figures: one row per block and device, then one per kind and device."""
    heads = ["block", "kind", "name", "start_s", "end_s", "label"]
    for key in DELTA_NUMBERS:
        heads += [f"{key}_low", f"{key}_high"] if key in PAIRS else [key]
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow([*heads, "verdict", "reason", "edited", "excluded", "excluded_reason"])
    blocks = {b["id"]: b for b in report["blocks"]}
    for delta in report["deltas"]:
        block = blocks[delta["block"]]
        where = [block["id"], block["kind"], block.get("name"), block["start_s"], block["end_s"]]
        excluded = block.get("excluded_reason")
        marks = ["yes" if marked else "no" for marked in (block.get("edited"), excluded is not None)]
        writer.writerow([defused(v) for v in (*where, *_full(delta), *marks, excluded)])
    for entry in report["summary"]:
        writer.writerow([defused(v) for v in ("all", entry["kind"], None, None, None, *_full(entry), None, None, None)])
    return stream.getvalue()


def clock(time_s: float) -> str:
    """`0:12:40`; times before the reference's first sample carry a minus sign."""
    whole = round(abs(time_s))
    sign = "-" if time_s < 0 and whole else ""
    return f"{sign}{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def plain(value: float | None, *, digits: int = 1) -> str:
    """`212.3`, or a dash."""
    return NOTHING if value is None else f"{value:.{digits}f}"


def signed(value: float | None, *, digits: int = 1) -> str:
    """`+2.3`; what rounds to nothing carries no sign."""
    if value is None:
        return NOTHING
    text = f"{value:+.{digits}f}"
    return text[1:] if float(text) == 0 else text


def span(limits: Sequence[float | None] | None, *, digits: int = 1) -> str:
    """`-3.4 to -2.4`, or a dash."""
    if not limits or None in limits:
        return NOTHING
    return f"{signed(limits[0], digits=digits)} to {signed(limits[1], digits=digits)}"


def _figures(delta: Mapping[str, Any]) -> tuple[str, ...]:
    return (
        plain(delta["mean_w"]),
        signed(delta["delta_w"]),
        signed(delta["delta_pct"]),
        span(delta["delta_pct_ci"]),
        span(delta["allowance_pct"]),
        delta["verdict"] or NOTHING,
    )


def _full(delta: Mapping[str, Any]) -> list[Any]:
    out: list[Any] = [delta["label"]]
    for key in DELTA_NUMBERS:
        value = delta.get(key)
        out += list(value or (None, None)) if key in PAIRS else [value]
    return [*out, delta["verdict"], delta.get("reason")]


def _cell(text: str, width: int, right: bool) -> str:
    cut = text if len(text) <= width else f"{text[: max(width - 2, 0)]}.."
    return cut.rjust(width) if right else cut.ljust(width)
