"""Tables as CSV text that a spreadsheet reads as figures and words, never as formulas."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from typing import Any

# A cell of words that starts like this is run as a formula by spreadsheets. Source: OWASP, "CSV Injection".
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """The table with LF line ends; None and missing numbers are empty cells."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([cell(name) for name in header])
    writer.writerows([cell(value) for value in row] for row in rows)
    return out.getvalue()


def cell(value: Any) -> Any:
    """One cell: numbers stay numbers, words that look like a formula get an apostrophe in front."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if isinstance(value, float):
        return f"{value:.10g}"
    return defused(value)


def defused(value: Any) -> Any:
    """Words that a spreadsheet would run as a formula, with an apostrophe in front; spaces before do not stop it."""
    if isinstance(value, str) and value.lstrip(" ").startswith(FORMULA_STARTS):
        return f"'{value}"
    return value
