"""What was odd about a recording, line by line, each with its first place to look at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from app.wording import clock_text, counted

SHOWN = 4  # the rest is folded
AROUND_S = 30.0  # selected to either side of a place


def health_list(lines: Sequence[Mapping[str, Any]], start_s: float) -> html.Div | None:
    """Every observation, notable ones first; `start_s` is the recording's first sample on the trial's clock. [s]"""
    if not lines:
        return None
    ordered = [*(line for line in lines if line.get("notable")), *(line for line in lines if not line.get("notable"))]
    items = [_item(line, start_s) for line in ordered]
    children: list[Any] = [html.H4("Health"), html.Ul(items[:SHOWN])]
    if items[SHOWN:]:
        folded = html.Summary(f"{counted(len(items) - SHOWN, 'more observation')}")
        children.append(html.Details([folded, html.Ul(items[SHOWN:])]))
    return html.Div(children, className="health")


def without_health(warnings: Sequence[str], lines: Sequence[Mapping[str, Any]]) -> list[str]:
    """The warnings that the list of observations does not hold already."""
    told = {line.get("text") for line in lines}
    return [sentence for sentence in warnings if sentence not in told]


def _item(line: Mapping[str, Any], start_s: float) -> html.Li:
    """The sentence; its first place, told on the recording's own clock, becomes a button on the trial's."""
    text, first_s = str(line.get("text") or ""), line.get("first_s")
    kind = "notable" if line.get("notable") else None
    if first_s is None:
        return html.Li(text, className=kind)
    at_s = start_s + float(first_s)
    place = {"data-place": "", "data-from": f"{at_s - AROUND_S:.1f}", "data-to": f"{at_s + AROUND_S:.1f}"}
    button = html.Button(
        clock_text(at_s), type="button", className="quiet place", title="Select the minute around it on the overlay", **place
    )
    words = text.rpartition("; first at ")[0] or text.rstrip(".")
    return html.Li([f"{words}; first at ", button], className=kind)
