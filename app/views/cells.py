"""Cells that say what they are beside what they show: `assets/61-tables.js` sorts, filters and copies by it.

A figure carries its full value, an interval both ends, in % and in W where the page can show either.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from dash import html

from app.wording import span_or_short

Limits = Sequence[float | None] | None


@dataclass(frozen=True, kw_only=True)
class Cell:
    """What a cell shows, and its `data-*` attributes."""

    shown: Any
    data: Mapping[str, str] = field(default_factory=dict)


def figure(shown: Any, value: float | None) -> Cell:
    """A number as printed, with its full value."""
    return Cell(shown=shown, data=value_of(value))


def words(shown: Any, text: str) -> Cell:
    """Marks and words, with the text that a copy takes."""
    return Cell(shown=shown, data={"data-text": text})


def limits_pct(entry: Mapping[str, Any]) -> Cell:
    """A delta's interval in %, in W where the page shows watts."""
    reason = entry.get("reason")
    pct, watts = entry["delta_pct_ci"], entry.get("delta_w_ci")
    shown = [html.Span(span_or_short(limits, reason), className=name) for limits, name in ((pct, "in-pct"), (watts, "in-w"))]
    return Cell(shown=shown, data={**ends_of(pct), **ends_of(watts, "-w")})


def either(in_pct: str, in_w: str) -> list[html.Span]:
    """Words that differ with the page's unit."""
    return [html.Span(in_pct, className="in-pct"), html.Span(in_w, className="in-w")]


def value_of(value: float | None) -> dict[str, str]:
    """Attributes of one figure."""
    return {"data-value": "" if value is None else repr(value)}


def ends_of(limits: Limits, unit: str = "") -> dict[str, str]:
    """Attributes of an interval; empty ends where there is none."""
    low, high = limits if limits and None not in limits else (None, None)
    return {f"data-low{unit}": "" if low is None else repr(low), f"data-high{unit}": "" if high is None else repr(high)}


def table_key(name: str) -> dict[str, str]:
    """The attribute that gives a table its tools; the key outlives the table being drawn anew."""
    return {"data-table": re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")}
