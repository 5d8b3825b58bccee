"""The ride plan in a set-up sheet: one row a step, a list to paste, a recording to take the steps from.

A part of the sheet's form; `assets/16-plan.js` adds and removes rows, `app.ride_plan` reads them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.setup import KINDS
from app import ids
from app.ride_plan import MAX_LIST_CHARS
from app.views.frozen import Native
from app.wording import KIND_MEANS, counted

NAME_CHARS, NUMBER_CHARS = 200, 20
WHY = (
    "Optional. Blocks take the names of the steps they match, in order, and the page says what was not ridden. With no step "
    "here, a workout or the laps that a recording brings along are used."
)
MOST_UNFOLDED = 8  # longer plans would push what comes after them off the screen
LIST_HINT = "One step a line: name, length, watts, kind. Or the [[plan]] entries of a setup.toml."
EXAMPLE = "hold 200, 10:00, 200, steady\nsprint, 0:15, , transient\neasy, 5:00, 120, free"


def plan_fields(sheet: str, steps: Sequence[Mapping[str, str]], recordings: Sequence[tuple[str, str]]) -> html.Details:
    """Steps as rows, folded while there are none or many; `recordings` are (key, name) of those to take steps from."""
    more = {"open": True} if 0 < len(steps) <= MOST_UNFOLDED else {}
    said = counted(len(steps), "step") if steps else "none"
    heads = html.Div(
        [html.Span(""), *(html.Span(word) for word in ("Step", "Length", "Target", "Kind")), html.Span("")],
        className="plan-row plan-heads", **{"aria-hidden": "true"},
    )  # fmt: skip
    return html.Details(
        [
            html.Summary(["Ride plan ", html.Span(said, className="small", **{"data-plan-count": True})]),
            html.P(WHY, className="hint"),
            heads,
            html.Div([plan_row(step) for step in steps], className="plan-rows", **{"data-plan-rows": True}),
            Native("template", {"data-plan-blank": True}, plan_row({})),
            _buttons(),
            html.Div([_paste(sheet), _from_recording(sheet, recordings)], className="plan-sources"),
            html.P(className="small", role="status", **{"data-plan-said": True}),
        ],
        className="plan-fields",
        **{"data-plan": sheet},
        **more,
    )


def plan_row(step: Mapping[str, str]) -> html.Div:
    """One step's four fields and its way out."""
    chosen = step.get(ids.STEP_KIND) or "steady"
    offered = [kind for kind in KINDS if kind != "gap" or kind == chosen]
    kinds = [Native("option", {"value": k, "selected": k == chosen, "title": KIND_MEANS[k]}, k) for k in offered]
    remove = {"type": "button", "class": "quiet", "data-plan-remove": True, "aria-label": "Remove this step", "title": "Remove"}
    return html.Div(
        [
            html.Span(className="plan-number", **{"aria-hidden": "true"}),
            _cell(ids.STEP_NAME, "Name", step, NAME_CHARS, placeholder="name"),
            _cell(ids.STEP_LENGTH, "Length, minutes and seconds", step, NUMBER_CHARS, placeholder="10:00"),
            html.Span([_cell(ids.STEP_TARGET, "Target in watts", step, NUMBER_CHARS, inputmode="decimal"),
                       html.Span("W", className="unit")], className="with-unit"),
            Native("select", {"data-step": ids.STEP_KIND, "aria-label": "Kind"}, kinds),
            Native("button", remove, "×"),
        ],
        className="plan-row",
        role="group",
        **{"data-plan-row": True},
    )  # fmt: skip


def _cell(part: str, name: str, step: Mapping[str, str], chars: int, **more: Any) -> Native:
    said = {"type": "text", "data-step": part, "aria-label": name, "maxlength": chars, "value": step.get(part) or ""}
    return Native("input", {**said, **more})


def _buttons() -> html.Div:
    return html.Div(
        [
            Native("button", {"type": "button", "class": "quiet", "data-plan-add": True}, "Add a step"),
            Native("button", {"type": "button", "class": "quiet", "data-plan-clear": True}, "Remove all steps"),
        ],
        className="button-row",
    )


def _paste(sheet: str) -> html.Details:
    area = {"id": f"{sheet}-plan-list", "rows": 5, "maxlength": MAX_LIST_CHARS, "placeholder": EXAMPLE, "spellcheck": "false"}
    label = html.Label([html.Span(LIST_HINT, className="field-name"), Native("textarea", area, "")], className="field wide")
    button = Native("button", {"type": "button", "class": "quiet", "data-plan-take": "list"}, "Make these the steps")
    return html.Details([html.Summary("Paste or type a list"), label, html.Div(button, className="button-row")])


def _from_recording(sheet: str, recordings: Sequence[tuple[str, str]]) -> html.Details:
    options = [Native("option", {"value": key}, name) for key, name in recordings]
    select = Native("select", {"id": f"{sheet}-plan-recording"}, options)
    hint = "Its workout, or its laps. A lap brings its length; its mean is a reading and no target."
    label = html.Label([html.Span(hint, className="field-name"), select], className="field wide")
    button = Native("button", {"type": "button", "class": "quiet", "data-plan-take": "recording"}, "Take its steps")
    return html.Details([html.Summary("Take it from a recording"), label, html.Div(button, className="button-row")])
