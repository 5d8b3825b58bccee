"""Under the overlay, for the owner only: each clock moved by hand, seen at once on the overlay, kept on request.

Plain buttons and fields; `assets/40-clocks.js` moves the lines and sends what is to be kept.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from app import ids
from app.views import clock_words, parts
from app.views.frozen import Native, frozen
from app.views.sheet import NUMBER_CHARS
from app.wording import signed

STEPS_S = (-1.0, -0.1, 0.1, 1.0)


def hands_panel(report: Mapping[str, Any], labels: Sequence[str]) -> html.Details:
    """The folded panel; open from the start where a clock asks for it."""
    files = {r["label"]: r["file"] for r in report["recordings"]}
    devices = [e for e in report["alignment"] if e["label"] != report["reference"]]
    rows = [_row(entry, files[entry["label"]], labels) for entry in devices]
    keep = {"type": "button", "class": "primary", "id": ids.HANDS_KEEP, "disabled": True}
    drop = {"type": "button", "class": "quiet", "id": ids.HANDS_DROP, "disabled": True}
    foot = html.Div(
        [Native("button", keep, "Keep and analyse again"), Native("button", drop, "Undo, keep nothing")], className="button-row"
    )
    said = html.P("Nothing is moved.", id=ids.HANDS_SAID, role="status", className="hands-said")
    hint = html.P(
        "Move a line until it falls onto the reference's. What you see is provisional and in this browser only; tables, "
        "findings and readers keep the present shift until you keep another.",
        className="hint",
    )
    return html.Details(
        [html.Summary("Set a clock by hand"), frozen(hint, *rows, said, foot), html.Div(id=ids.HANDS_PROBLEM)],
        id=ids.HANDS,
        className="owner-panel hands",
        open=any(not e["settled"] for e in devices),
    )


def _row(entry: Mapping[str, Any], file: str, labels: Sequence[str]) -> html.Div:
    label, shown = entry["label"], entry.get("show") or {}
    place = {"data-clock": label, "data-file": file, "data-shift": repr(float(entry["shift_s"]))}
    place |= {f"data-show-{edge}": str(shown[f"{edge}_s"]) for edge in ("start", "end") if shown}
    name = f"clock-typed-{labels.index(label)}"
    typed = {
        "type": "text", "inputmode": "decimal", "id": name, "data-clock-typed": True, "maxlength": str(NUMBER_CHARS),
        "value": signed(entry["shift_s"], 2), "autocomplete": "off", "aria-label": f"Shift of {label} in seconds",
    }  # fmt: skip
    steps = [_step(step_s, label) for step_s in STEPS_S]
    field = html.Span([Native("input", typed), html.Span("s", className="unit")], className="with-unit")
    back = {"type": "button", "class": "quiet", "data-clock-automatic": True, "aria-label": f"Back to automatic for {label}"}
    look = {"type": "button", "class": "quiet", "data-clock-look": True, "aria-label": f"Show the sharpest change of {label}"}
    more = [
        Native("button", look, "Show the sharpest change") if shown else None,
        Native("button", back, "Back to automatic") if entry["via"] == "manual" else None,
    ]
    present = html.Span(f"now {clock_words.shift_words(entry)}, {clock_words.state(entry)}", className="small")
    head = html.Div([parts.named(label, labels), present], className="clock-row-head")
    tools = html.Div([*steps[:2], field, *steps[2:], *more], className="button-row")
    return html.Div([head, tools], className="clock-row", role="group", **{"aria-label": f"Clock of {label}", **place})


def _step(step_s: float, label: str) -> Native:
    words = f"{signed(step_s, 0 if abs(step_s) >= 1 else 1)} s"
    step = {"type": "button", "class": "quiet", "data-clock-step": f"{step_s:g}", "aria-label": f"Move {label} by {words}"}
    return Native("button", step, words)
