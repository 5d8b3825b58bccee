"""A dossier's bench sheet worked out; rows that cannot be measured were refused when they were typed."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.bench_sheet import Measured, measure
from analysis.dossier.document import BenchEntry, Dossier


def bench_rows(dossier: Dossier) -> list[tuple[str, Measured]]:
    """(device, row worked out), as `in_order` has them."""
    return [(entry.device, measure(entry.row)) for entry in in_order(dossier.bench)]


def in_order(bench: Sequence[BenchEntry]) -> list[BenchEntry]:
    """Quantities in the order of the sheet, several devices side by side under each."""
    order = list(dict.fromkeys(entry.row.quantity for entry in bench))
    return sorted(bench, key=lambda entry: order.index(entry.row.quantity))
