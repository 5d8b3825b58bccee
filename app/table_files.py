"""Every table of the result as CSV, full figures, one file per table, for spreadsheets and statistics programs.

Columns are the result's own names with their units. An interval becomes two columns, a list of words one cell; rows that
hold a list of rows of their own give these a table beside them. Text that a spreadsheet would run is led by an apostrophe.
"""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any

from analysis.cells import defused
from app.tables import deltas_csv

# Name of the file -> key of the result.
TABLES = {
    "blocks": "blocks", "kinds": "summary", "levels": "levels", "findings": "findings", "causes": "hypotheses",
    "curves": "curves", "response": "response", "sprints": "sprints", "bests": "bests", "agreement": "agreement",
    "noise": "noise", "allowances": "allowances", "sensitivity": "sensitivity", "clocks": "alignment",
}  # fmt: skip
DELTAS = "deltas"
# Zip stamps start in 1980; a fixed one keeps the bytes the same for the same result.
_STAMP = (1980, 1, 1, 0, 0, 0)
_BESIDE = ("label", "code", "block", "kind")

Row = dict[str, Any]


def csv_files(report: Mapping[str, Any]) -> dict[str, str]:
    """Name without ending -> CSV text, the delta table first; tables without rows are left out."""
    files = {DELTAS: deltas_csv(report)}
    for name, key in TABLES.items():
        rows, beside = _flat(report.get(key) or ())
        for one, found in ((name, rows), *((f"{name}-{inner}", rows_) for inner, rows_ in beside.items())):
            if found:
                files[one] = _written(found)
    pedalling = (report.get("pedalling") or {}).get("values") or ()
    if pedalling:
        files["pedalling"] = _written(_flat(pedalling)[0])
    return files


def zipped(report: Mapping[str, Any]) -> bytes:
    """All of them in one archive; the same result gives the same bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in csv_files(report).items():
            archive.writestr(zipfile.ZipInfo(f"{name}.csv", _STAMP), text, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _flat(entries: Sequence[Mapping[str, Any]]) -> tuple[list[Row], dict[str, list[Row]]]:
    rows: list[Row] = []
    beside: dict[str, list[Row]] = {}
    for entry in entries:
        row: Row = {}
        for key, value in entry.items():
            if _is_rows(value):
                about = {k: entry[k] for k in _BESIDE if k in entry}
                beside.setdefault(key, []).extend(one for inner in value for one in _spread(about | _cells_of(inner)))
            else:
                row |= _cells(key, value)
        rows += _spread(row)
    return rows, beside


def _is_rows(value: Any) -> bool:
    return isinstance(value, (list, tuple)) and bool(value) and isinstance(value[0], Mapping)


def _cells_of(entry: Mapping[str, Any], before: str = "") -> Row:
    return {name: cell for key, value in entry.items() for name, cell in _cells(f"{before}{key}", value).items()}


def _cells(name: str, value: Any) -> Row:
    if isinstance(value, Mapping):
        return _cells_of(value, f"{name}_")
    if not isinstance(value, (list, tuple)):
        return {name: value}
    if _is_pair(value):
        return _cells(f"{name}_low", value[0]) | _cells(f"{name}_high", value[1])
    if value and all(isinstance(one, (int, float)) or one is None for one in value):
        return {name: list(value)}  # a column's values, one below the other
    return {name: "; ".join(map(str, value))}


def _is_pair(value: Sequence[Any]) -> bool:
    return len(value) == 2 and all(one is None or isinstance(one, (int, float, list, tuple)) for one in value)


def _spread(row: Row) -> list[Row]:
    """One row per value where cells hold lists of one length; what is said once stands in each."""
    longest = max((len(value) for value in row.values() if isinstance(value, list)), default=0)
    if not longest:
        return [row]
    return [{k: _at(v, i) for k, v in row.items()} for i in range(longest)]


def _at(value: Any, place: int) -> Any:
    if not isinstance(value, list):
        return value
    return value[place] if place < len(value) else None


def _written(rows: Sequence[Row]) -> str:
    heads = list(dict.fromkeys(head for row in rows for head in row))
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow([defused(head) for head in heads])
    writer.writerows([defused(row.get(head)) for head in heads] for row in rows)
    return stream.getvalue()
