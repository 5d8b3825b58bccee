"""The way to each sprint: a button per surge, which selects it and zooms onto it, every sample drawn as recorded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

from dash import html

from analysis.blocks import Block, surges
from analysis.sync_pattern import pattern_bursts
from app.views.frozen import Native, frozen
from app.wording import clock_text, number, with_unit

BEFORE_S, AFTER_S = 8.0, 14.0  # what leads into a sprint, and where slower devices come down from it


def sprint_row(blocks: Sequence[Mapping[str, Any]]) -> html.Div | None:
    """A button per sprint among the report's blocks, in the order ridden; None where there are none."""
    known = {f.name for f in fields(Block)}
    found = surges([Block(**{k: v for k, v in block.items() if k in known}) for block in blocks])
    pattern = pattern_bursts([block.start_s for block in found])  # ridden for the clocks
    found = [block for i, block in enumerate(found) if i not in pattern]
    if not found:
        return None
    head = html.Span("Sprints", className="show-name", **{"aria-hidden": "true"})
    group = html.Span([_button(block) for block in found], className="segments", role="group", **{"aria-label": "Sprints"})
    return frozen(html.Div([head, group], className="sprint-row"))


def _button(block: Block) -> Native:
    at = clock_text(block.start_s)
    level = f", {with_unit(number(block.level_w, 0), 'W')}" if block.level_w is not None else ""
    view = {"data-view-from": block.start_s - BEFORE_S, "data-view-to": block.end_s + AFTER_S}
    ends = {"data-from": block.interior_start_s, "data-to": block.interior_end_s}
    says = f"Zoom onto {block.name} at {at}{level}"
    return Native("button", {"type": "button", "data-sprint": True, "title": says, "aria-label": says, **view, **ends}, at)
