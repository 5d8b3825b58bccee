"""Step by step: the ride with its clock times, the cautions that belong to it, the set-up entries to copy."""

from __future__ import annotations

from dash import html

from analysis.cautions import CAUTIONS
from analysis.designing import Design, Exercise, asks_all_out, plan_toml, ridden, steps_of, total_s
from app.views.cells import table_key
from app.views.planning.editor import EXERCISE_MEANS, SYNC_HINT
from app.wording import NOTHING, clock_text, counted, length, number, with_unit

ALL_OUT, TRAINERS = "Maximal efforts", "Trainers"


def total_line(design: Design) -> html.P:
    """How long, how many steps, how much of it held."""
    steps = ridden(design)
    held_s = sum(r.step.duration_s for r in steps if r.step.exercise == "hold")
    words = f"{counted(len(steps), 'step')} in {counted(len(design.parts), 'part')}; power held for {length(held_s)}"
    return html.P([html.Strong(clock_text(total_s(design)), className="design-total"), html.Span(words)], className="design-sum")


def part_words(design: Design) -> list[str]:
    """Per part what its folded row says: `10 steps, 2 times, there and back · 40:00`."""
    said = []
    for place, part in enumerate(design.parts):
        times = "" if part.repeats == 1 else f", {part.repeats} times"
        order = "" if part.order == "as written" else f", {part.order}"
        lasts_s = part.repeats * sum(step.duration_s for step in part.steps)
        said.append(f"{counted(len(design.parts[place].steps), 'step')}{times}{order} · {clock_text(lasts_s)}")
    return said


def cautions_for(design: Design) -> html.Div | None:
    """Beside maximal efforts and steps whose power a trainer keeps; None for a plan without either."""
    steps = [step for part in design.parts for step in part.steps]
    topics = [ALL_OUT] if asks_all_out(design) else []
    topics += [TRAINERS] if any(step.kept_by == "trainer" for step in steps) else []
    if not topics:
        return None
    told = [html.P([html.Strong(f"{c.topic}. "), c.text]) for c in CAUTIONS if c.topic in topics]
    return html.Div(told, className="notice caution", role="note")


def steps_table(design: Design) -> html.Div:
    """Every step as it will be ridden."""
    heads = ("clock", "step", "length", "target", "cadence", "what", "position", "power kept by")
    numeric = {"clock", "length", "target", "cadence"}
    head = html.Thead(html.Tr([html.Th(h, scope="col", className="num" if h in numeric else "") for h in heads]))
    rows = []
    for one, named in zip(ridden(design), steps_of(design), strict=True):
        first = one.turn == 0 and (not rows or rows[-1][0] != one.part)
        rows.append((one.part, _row(one.start_s, named, first=first)))
    caption = html.Caption("Clock: elapsed since the recordings started.")
    table = html.Table([caption, head, html.Tbody([row for _, row in rows])], className="design-steps", **table_key("ride plan"))
    return html.Div(table, className="table-box", tabIndex="0", role="group", **{"aria-label": "The steps"})


def _row(start_s: float, step: Exercise, *, first: bool) -> html.Tr:
    cells = [
        html.Td(clock_text(start_s), className="num"),
        html.Th(step.name, scope="row"),
        html.Td(clock_text(step.duration_s), className="num"),
        html.Td(target_words(step), className="num"),
        html.Td(NOTHING if step.cadence_rpm is None else with_unit(number(step.cadence_rpm, 0), "rpm"), className="num"),
        html.Td(EXERCISE_MEANS[step.exercise], title=SYNC_HINT if step.exercise == "sync" else None),
        html.Td(NOTHING if step.position == "any" else step.position),
        html.Td(NOTHING if step.exercise in ("zero", "coast") else step.kept_by),
    ]
    return html.Tr(cells, className="group-start" if first else "")


def target_words(step: Exercise) -> str:
    """`212 W`, or what stands for it."""
    if step.target_w is not None:
        return with_unit(number(step.target_w, 0), "W")
    return "all out" if step.exercise == "sprint" else NOTHING


def toml_fold(design: Design) -> html.Details:
    """The set-up entries, to copy."""
    text = plan_toml(design)
    copy = html.Button("Copy", type="button", className="quiet", **{"data-design-copy": True, "aria-label": "Copy the entries"})
    about = {"tabIndex": "0", "role": "group", "aria-label": "Plan for setup.toml"}
    area = html.Pre(html.Code(text), className="design-toml", **about)
    return html.Details([html.Summary("The plan as [[plan]] entries for setup.toml"), copy, area])
