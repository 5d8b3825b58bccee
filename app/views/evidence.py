"""The sections that hold the evidence, in the order they are read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from app.views.agreement import agreement_section
from app.views.dependence import dependence_section, levels_section
from app.views.findings import findings_section
from app.views.frozen import frozen
from app.views.pedalling import pedalling_section
from app.views.response import response_section


def evidence_sections(first: int, report: Mapping[str, Any], labels: Sequence[str]) -> tuple[list[html.Div | html.Section], int]:
    """The sections, numbered from `first`, and the number of the next one; pedalling only where a recording carries it."""
    pedalling = pedalling_section(first + 5, report, labels)
    sections = [
        frozen(levels_section(first, report, labels)),
        findings_section(first + 1, report, labels),
        dependence_section(first + 2, report, labels),
        response_section(first + 3, report, labels),
        agreement_section(first + 4, report, labels),
        *([frozen(pedalling)] if pedalling else []),
    ]
    return sections, first + len(sections)
