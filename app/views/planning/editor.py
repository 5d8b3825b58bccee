"""The table editor of a ride plan: what stands above, then parts with their steps; a plain form that `assets/70-plan.js` reads.

A field carries `data-field` with its name inside its row; `app.planning.drafts` names the whole place of each.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.designing import EXERCISES, KEPT_BY, MAX_TEXT, ORDERS, POSITIONS
from analysis.setup import POINTS
from app import ids
from app.views.frozen import Native

NUMBER_CHARS = 12
EXERCISE_MEANS = {
    "hold": "hold power", "easy": "ride easily", "surge": "surge", "sprint": "sprint, all out", "sync": "sync pattern",
    "coast": "coast", "zero": "stop and zero",
}  # fmt: skip
KEPT_MEANS = {"rider": "rider", "trainer": "trainer"}
EMPTY_STEP = {"name": "", "exercise": "hold", "length": "3:00", "target": "", "unit": "%", "cadence": "", "position": "any",
              "kept": "rider"}  # fmt: skip
EMPTY_PART = {"name": "", "repeats": "1", "order": ORDERS[0], "steps": [EMPTY_STEP]}
UNITS = {"%": "%", "W": "W"}
TOOLS = (("up", "↑", "Move up"), ("down", "↓", "Move down"), ("twice", "2×", "Duplicate"), ("remove", "×", "Remove"))
CHOSEN = "These are my devices: take all of it as chosen"
SYNC_HINT = "10 s hard, 10 s still, 10 s hard, 20 s still, 10 s hard: unequal rests, so that clocks fit in one way only."


def editor(texts: Mapping[str, Any]) -> Native:
    """The whole form of the parts; what is blank in `texts` stays blank."""
    top = html.Div(
        [
            _labelled("Title", _text("title", texts, chars=MAX_TEXT), "title", wide=True),
            _labelled("One-hour power", _number("hour", texts), "hour", unit="W"),
            _labelled("Seed of shuffles", _number("seed", texts), "seed"),
        ],
        className="field-row",
    )
    rows = html.Div([part_row(part) for part in texts["parts"]], className="design-parts", **{"data-parts": True})
    blanks = [
        Native("template", {"data-blank": "part"}, part_row(EMPTY_PART)),
        Native("template", {"data-blank": "step"}, step_row(EMPTY_STEP)),
    ]
    add = html.Div(
        [
            _button("Add a part", "add-part"),
            _button("Undo", "undo", hidden=True),
            html.Span(role="status", **{"data-design-said": True}),
        ],
        className="button-row",
    )
    return Native("form", {"class": "sheet design-editor", "data-design": True, "novalidate": True, "autocomplete": "off"},
                  [top, rows, *blanks, add])  # fmt: skip


def part_row(part: Mapping[str, Any]) -> html.Details:
    """One part, folded, with its steps."""
    head = html.Summary(
        [
            html.Span(className="design-number", **{"data-number": True}),
            html.Span(part["name"] or "new part", className="design-part-name", **{"data-part-name": True}),
            html.Span(className="small", **{"data-part-said": True}),
        ]
    )
    fields = html.Div(
        [
            _labelled("Part", _text("name", part, chars=MAX_TEXT), "name"),
            _labelled("Times", _number("repeats", part), "repeats", narrow=True),
            _labelled("Order of its steps", _options("order", part, {order: order for order in ORDERS}), "order"),
            _tools("part"),
        ],
        className="field-row design-part-fields",
        **{"data-part-fields": True},
    )
    names = ("", "Step", "What", "Length", "Target", "Cadence", "Position", "Power kept by", "")
    heads = html.Div([html.Span(name) for name in names], className="design-step design-heads", **{"aria-hidden": "true"})
    steps = html.Div([step_row(step) for step in part["steps"]], **{"data-steps": True})
    add = html.Div(_button("Add a step", "add-step"), className="button-row")
    return html.Details([head, fields, _complaint(), heads, steps, add], className="design-part", **{"data-part-row": True})


def step_row(step: Mapping[str, str]) -> html.Div:
    """One step's fields, its tools and the place for its complaint."""
    kinds = {exercise: EXERCISE_MEANS[exercise] for exercise in EXERCISES}
    return html.Div(
        [
            html.Span(className="design-number", **{"data-number": True, "aria-hidden": "true"}),
            _cell("Step", _text("name", step, chars=MAX_TEXT)),
            _cell("What it is", _options("exercise", step, kinds)),
            _cell("Length, minutes and seconds", _number("length", step)),
            html.Span([_bare("Target", _number("target", step)), _bare("Unit of the target", _options("unit", step, UNITS))],
                      className="design-target", **{"data-name": "Target"}),
            html.Span([_bare("Cadence in rpm", _number("cadence", step)), html.Span("rpm", className="unit")],
                      className="with-unit", **{"data-name": "Cadence"}),
            _cell("Position", _options("position", step, {position: position for position in POSITIONS})),
            _cell("Power kept by", _options("kept", step, {kept: KEPT_MEANS[kept] for kept in KEPT_BY})),
            _tools("step"),
            _complaint(),
        ],
        className="design-step",
        role="group",
        **{"data-step-row": True},
    )  # fmt: skip


def aim_fields(texts: Mapping[str, Any], own_labels: Sequence[str]) -> Native:
    """What the ride is to settle, and which noise to reckon with; `own_labels`: devices in trials of one's own."""
    points = {"": "not stated"} | {point: point for point in POINTS}
    noises = {"": "cautious defaults"} | {f"own:{label}": f"my own trials: {label}" for label in own_labels}
    assumed = (texts.get("assumed") or "").split(",")

    def aimed(name: str, control: Native, place: str, part: str, unit: str = "") -> html.Div:
        tag = Native("span", {"class": "assumed", "data-assumed": part, "hidden": part not in assumed}, "assumed")
        return _labelled([name, " ", tag], control, place, unit=unit)

    of = "% of reading"
    fields = [
        aimed("Claim to settle, ±", _number("claim", texts), "claim", "claim_pct", of),
        aimed("Measuring point", _options("point", texts, points), "point", "point"),
        aimed("Reference's claim, ±", _number("reference-claim", texts), "reference-claim", "reference_claim_pct", of),
        aimed("Reference's point", _options("reference-point", texts, points), "reference-point", "reference_point"),
        aimed("Drivetrain loss, from", _number("loss-low", texts), "loss-low", "loss_pct", "%"),
        aimed("Drivetrain loss, to", _number("loss-high", texts), "loss-high", "loss_pct", "%"),
        _labelled("Noise taken from", _options("noise", {"noise": ""} | dict(texts), noises), "noise"),
    ]
    hidden = Native("input", {"type": "hidden", "data-field": "assumed", "value": texts.get("assumed") or ""})
    chosen = _button(CHOSEN, "chosen", hidden=not texts.get("assumed"))
    attributes = {"class": "sheet design-aim", "data-design-aim": True, "novalidate": True, "autocomplete": "off"}
    return Native("form", attributes, [hidden, html.Div(fields, className="field-row"), html.Div(chosen, className="button-row")])


def start_buttons() -> html.Div:
    """What the editor may begin with."""
    choices = (("whole", "The default plan"), ("core", "Its core, about an hour"), ("empty", "Nothing"))
    buttons = [Native("button", {"type": "button", "class": "quiet", "data-design-from": name}, words) for name, words in choices]
    return html.Div([html.Span("Start from", className="field-name"), *buttons], className="button-row", id=ids.PLAN_STARTS)


def _tools(row: str) -> html.Span:
    plain = {"type": "button", "class": "quiet"}
    buttons = [
        Native("button", {**plain, "data-act": act, "aria-label": f"{words} this {row}", "title": words}, sign)
        for act, sign, words in TOOLS
    ]
    return html.Span(buttons, className="design-tools")


def _button(words: str, act: str, *, hidden: bool = False) -> Native:
    return Native("button", {"type": "button", "class": "quiet", "data-act": act, "hidden": hidden}, words)


def _complaint() -> html.P:
    return html.P(className="design-problem", hidden=True, **{"data-problem": True})


def _labelled(name: Any, control: Native, place: str, *, unit: str = "", wide: bool = False, narrow: bool = False) -> html.Div:
    tail = [html.Span(unit, className="unit")] if unit else []
    label = html.Label([html.Span(name, className="field-name"), html.Span([control, *tail], className="with-unit")])
    size = " wide" if wide else " narrow" if narrow else ""
    return html.Div([label, _complaint()], className=f"field{size}", **{"data-field-box": place})


def _cell(name: str, control: Native) -> html.Span:
    return html.Span(_bare(name, control), **{"data-name": name.split(",")[0]})


def _bare(name: str, control: Native) -> Native:
    return Native(control.tag, {**control.attributes, "aria-label": name}, control.children)


def _text(field: str, texts: Mapping[str, Any], *, chars: int) -> Native:
    return Native("input", {"type": "text", "data-field": field, "maxlength": chars, "value": texts.get(field) or ""})


def _number(field: str, texts: Mapping[str, Any]) -> Native:
    """A text field: it keeps what was typed, so that a slip can be named."""
    return Native("input", {"type": "text", "data-field": field, "inputmode": "decimal", "maxlength": NUMBER_CHARS,
                            "value": texts.get(field) or ""})  # fmt: skip


def _options(field: str, texts: Mapping[str, Any], meanings: Mapping[str, str]) -> Native:
    chosen = texts.get(field) or ""
    options = [Native("option", {"value": v, "selected": v == chosen}, words) for v, words in meanings.items()]
    return Native("select", {"data-field": field}, options)
