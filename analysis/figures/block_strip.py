"""The block strip of the overlay: kinds by letter and hatching, not by colour alone. Time in seconds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from analysis.figures.ink import Theme, faded, ink_of, plain_axis
from analysis.figures.rows import Row, Sheet

LETTERS = {"steady": "S", "transient": "T", "free": "F", "idle": "I", "gap": "G"}
HATCHING = {"steady": "", "transient": "/", "free": ".", "idle": "-", "gap": "x"}
LETTER_PX = 14  # a narrower block carries no letter; the table does


def draw_blocks(sheet: Sheet, blocks: list[Mapping[str, Any]], theme: Theme, view: tuple[float, float], row: Row) -> None:
    """All blocks in view as one row of bars."""
    ink = ink_of(theme)
    seen = [b for b in blocks if b["end_s"] > view[0] and b["start_s"] < view[1]]
    start = np.array([max(b["start_s"], view[0]) for b in seen])
    width = np.array([min(b["end_s"], view[1]) for b in seen]) - start
    per_px_s = (view[1] - view[0]) / 800  # the chart on a desk screen; a phone hides what does not fit
    text = [_letter(b) if w > LETTER_PX * per_px_s else "" for b, w in zip(seen, width, strict=True)]
    marker = {
        "color": [ink.tone if b["kind"] == "steady" else "rgba(0,0,0,0)" for b in seen],
        "line": {"color": ink.muted, "width": 0.6},
        "pattern": {
            "shape": [HATCHING.get(b["kind"], "") for b in seen],
            "fgcolor": faded(ink.muted, 0.55), "size": 6, "solidity": 0.14, "fillmode": "overlay",
        },
    }  # fmt: skip
    sheet.traces.append(
        {
            "type": "bar", "orientation": "h", "base": start, "x": width, "y": [0] * len(seen), "width": 1, "yaxis": row.axis,
            "text": text, "textangle": 0, "textposition": "inside", "insidetextanchor": "middle", "constraintext": "none",
            "hoverinfo": "skip", "meta": {"kind": "blocks"}, "textfont": {"color": ink.text, "size": 12}, "marker": marker,
        }
    )  # fmt: skip
    sheet.add_axis(row, plain_axis(theme, range=[-0.5, 0.5], showgrid=False, showticklabels=False))


def _letter(block: Mapping[str, Any]) -> str:
    return block.get("letter") or LETTERS.get(block["kind"], "")
