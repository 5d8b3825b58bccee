"""A dossier's bench sheet worked out; rows that cannot be measured were refused when they were typed."""

from __future__ import annotations

from analysis.bench_sheet import Measured, measure
from analysis.dossier.document import Dossier


def bench_rows(dossier: Dossier) -> list[tuple[str, Measured]]:
    """(device, row worked out), in the order of the sheet."""
    return [(entry.device, measure(entry.row)) for entry in dossier.bench]
