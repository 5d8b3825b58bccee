"""The pictures of a trial by their names: an open result in, a figure out. Pure; who may see it is asked elsewhere."""

from __future__ import annotations

from typing import Any

from analysis.archive import OpenTrial
from analysis.figures import (
    Theme,
    against,
    behind_picture,
    bests_picture,
    changes_picture,
    dependence_picture,
    match_picture,
    overlay,
    scatter_picture,
    sprint_traces_picture,
    sprints_picture,
    stretch_picture,
)
from app import ids
from app.views.agreement import SCATTER
from app.views.clocks import MATCH, STRETCH
from app.views.dependence import CURVES
from app.views.findings import BEHIND
from app.views.response import BESTS, CHANGES, SPRINT_TRACES, SPRINTS

WHOLE = {SCATTER: scatter_picture, BESTS: bests_picture, SPRINTS: sprints_picture}


def evidence(found: OpenTrial, index: str, ink: Theme) -> Any:
    """A picture of evidence; None for the name of no picture of this trial."""
    if index in WHOLE:
        return WHOLE[index](found.report, theme=ink)
    if index == SPRINT_TRACES:
        return sprint_traces_picture(found.report, found.trial, theme=ink)
    kind, label = _of_device(found, index)
    if kind == BEHIND:
        finding = _finding(found, index)
        return finding and behind_picture(found.report, found.trial, finding, theme=ink)
    if kind == CHANGES and label is not None:
        return changes_picture(found.report, found.trial, label, theme=ink)
    return dependence_picture(found.report, label, theme=ink) if kind == CURVES and label is not None else None


def clock(found: OpenTrial, index: str, ink: Theme) -> Any:
    """A picture of how a clock was found; None likewise."""
    kind, label = _of_device(found, index)
    if label is None:
        return None
    if kind == MATCH:
        return match_picture(found.report, label, theme=ink)
    return stretch_picture(found.report, found.trial, label, theme=ink) if kind == STRETCH else None


def named(found: OpenTrial, name: str, ink: Theme) -> Any:
    """Any picture of the page: `overlay`, `held-against`, or `<type>:<index>` of its box."""
    if name == ids.OVERLAY:
        return overlay(found.report, found.trial, theme=ink)
    if name == ids.AGAINST:
        return against(found.report, found.trial.labels, theme=ink)
    kind, _, index = name.partition(":")
    drawers = {ids.EVIDENCE: evidence, ids.CLOCK_PICTURE: clock}
    return drawers[kind](found, index, ink) if kind in drawers else None


def _finding(found: OpenTrial, index: str) -> Any:
    """`behind:3` -> the report's fourth finding; None where it has none such."""
    place = index.partition(":")[2]
    findings = dict(zip(map(str, range(len(found.report["findings"]))), found.report["findings"], strict=True))
    return findings.get(place)


def _of_device(found: OpenTrial, index: str) -> tuple[str, str | None]:
    """`curves:2` -> the kind, and the label of the device at that place."""
    kind, _, place = index.partition(":")
    places = {str(i): label for i, label in enumerate(found.trial.labels) if i}
    return kind, places.get(place)
