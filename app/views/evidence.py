"""The sections that hold the evidence, in the order they are read."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from analysis.trial import Trial
from app.views.agreement import AGREEMENT
from app.views.chapters import Chapter, Material
from app.views.dependence import DEPENDENCE, LEVELS
from app.views.findings import FINDINGS
from app.views.frozen import frozen
from app.views.pair import pair_notice
from app.views.pedalling import PEDALLING, told_of
from app.views.record import RECORDINGS
from app.views.response import RESPONSE
from app.views.tables import SUMMARY, block_table

Evidence = Callable[[int, Mapping[str, Any], Trial], tuple[list[Any], int]]
CHAPTERS = (SUMMARY, LEVELS, FINDINGS, DEPENDENCE, RESPONSE, AGREEMENT, PEDALLING, RECORDINGS)
# Nothing in them takes part in a callback.
PLAIN = frozenset({"summary", "levels", "pedalling", "recordings"})


def chapters_of(report: Mapping[str, Any]) -> list[Chapter]:
    """Those that this trial has; pedalling only where a recording carries it."""
    return [chapter for chapter in CHAPTERS if chapter is not PEDALLING or told_of(report)]


def awaited_sections(first: int, report: Mapping[str, Any], trial: Trial) -> tuple[list[Any], int]:
    """Heads with empty boxes, numbered from `first`, and the number of the next section."""
    sections = [chapter.awaited(number) for number, chapter in enumerate(chapters_of(report), start=first)]
    return sections, first + len(sections)


def whole_sections(first: int, report: Mapping[str, Any], trial: Trial) -> tuple[list[Any], int]:
    """The same with all their content."""
    chapters = enumerate(chapters_of(report), start=first)
    sections = [chapter.section(number, report, trial.labels, trial) for number, chapter in chapters]
    return sections, first + len(sections)


def content_of(name: str, told: Material, against: str | None) -> Any:
    """What fills the box of one section; None for a name of none. `against` is the trial's own reference."""
    if name == "blocks":
        return frozen(pair_notice(told.report, against), block_table(told.report, told.labels))
    chapter = next((c for c in chapters_of(told.report) if c.name == name), None)
    if chapter is None:
        return None
    body = chapter.body(told)
    return frozen(pair_notice(told.report, against), *body) if name in PLAIN else list(body)
