"""The tables of every other pair, as the page's own views write them: what a server would answer when asked for one.

`assets/offline/70-pair.js` puts them in. Of the block table one per recording held against is kept; a single device's columns are
taken out of it there, less the reference's mean, which goes by the seconds that this device covers.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from dash import html

from analysis.archive import OpenTrial
from analysis.pairs import only, tables_against
from analysis.report import blocks_of
from analysis.trial import Trial
from app.offline.markup import standing
from app.offline.packing import deflated
from app.views.chapters import Chapter, Material
from app.views.evidence import chapters_of, content_of
from app.views.frozen import html_text
from app.views.pair import pair_notice
from app.views.tables import block_table, reference_cells

BLOCKS = "blocks"
Tables = dict[str, Any]


def pair_box(name: str, content: Any) -> html.Div:
    """Where the tables of a section stand that follow the pair."""
    return html.Div(content, className="section-content", **{"data-pair-box": name})


def sections_with_boxes(first: int, report: Mapping[str, Any], trial: Trial) -> tuple[list[Any], int]:
    """The sections of evidence with all their content, in boxes where it follows the pair; and the number of the next one."""
    chapters = [_boxed(chapter) for chapter in chapters_of(report)]
    sections = [chapter.section(number, report, trial.labels, trial) for number, chapter in enumerate(chapters, start=first)]
    return sections, first + len(sections)


def pair_tables(found: OpenTrial) -> str | None:
    """Deflated JSON: `against` -> `device` (empty for all) -> section -> HTML; None for a recording alone."""
    report, trial = found.report, found.trial
    if len(trial.labels) < 2:
        return None
    blocks = blocks_of(report)
    told = {}
    for held in trial.labels:
        told[held] = _of(report if held == trial.reference else {**report, **tables_against(trial, blocks, held)}, trial)
    return deflated(json.dumps(told, ensure_ascii=False, separators=(",", ":")))


def _of(report: Mapping[str, Any], trial: Trial) -> dict[str, Tables]:
    others = [label for label in trial.labels if label != report["reference"]]
    kept = {}
    if report["reference"] != trial.reference:  # those stand on the page
        kept[""] = {**_sections(report, trial), "table": html_text(block_table(report, trial.labels))}
    for device in others:
        one = only(report, device)
        kept[device] = {**_sections(one, trial), "means": [html_text(cell) for cell in reference_cells(one)]}
    return kept


def _sections(report: Mapping[str, Any], trial: Trial) -> Tables:
    """What stands above the block table, and the other sections' content."""
    told = Material(report=report, labels=trial.labels, trial=trial)
    names = [chapter.name for chapter in chapters_of(report) if chapter.follows_pair]
    notice = html_text(pair_notice(report, trial.reference))
    return {BLOCKS: notice} | {name: html_text(standing(content_of(name, told, trial.reference))) for name in names}


def _boxed(chapter: Chapter) -> Chapter:
    if not chapter.follows_pair:
        return chapter
    return replace(chapter, body=lambda told: [pair_box(chapter.name, html.Div(chapter.body(told), className="frozen"))])
