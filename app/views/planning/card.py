"""The ride as a card for the handlebars: on screen hidden, on paper one page of big figures; see `assets/71-ride-card.css`."""

from __future__ import annotations

from dash import html

from analysis.designing import Design, Exercise, total_s
from analysis.ride_card import CardLine, card_lines
from app.views.planning.steps import ALL_OUT
from app.wording import NOTHING, clock_text, counted, number

# More lines than this stand in two columns.
ONE_COLUMN = 26
STOP = "Stop on any symptom; nothing here asks for more."
# What an ordinary step needs no word for.
WORDS = {"sprint": "ALL OUT", "coast": "coast", "zero": "stop", "sync": "hard/still"}


def ride_card(design: Design, stamp: str = "") -> html.Section:
    """One page; `stamp` says which frozen plan it is."""
    lines = card_lines(design)
    columns = 1 if len(lines) <= ONE_COLUMN else 2
    per_column = -(-len(lines) // columns)
    halves = [lines[i : i + per_column] for i in range(0, len(lines), per_column)]
    stamped = [html.Br(), stamp] if stamp else []
    head = html.P(
        [html.Strong(design.title), html.Span(f" {clock_text(total_s(design))}, {counted(len(lines), 'line')}."), *stamped],
        className="card-head",
    )
    all_out = any(line.step.exercise == "sprint" for line in lines)
    foot = [html.P(f"{ALL_OUT}: {STOP}", className="card-foot")] if all_out else []
    tables = html.Div([_table(half) for half in halves], className="card-columns")
    style = {"--card-lines": str(per_column + 1), "--card-columns": str(columns)}
    return html.Section([head, tables, *foot], className="ride-card", style=style, **{"aria-hidden": "true"})


def _table(lines: tuple[CardLine, ...]) -> html.Table:
    heads = html.Tr([html.Th(word) for word in ("clock", "", "length", "W", "rpm", "step")])
    return html.Table([html.Thead(heads), html.Tbody([_line(line) for line in lines])])


def _line(line: CardLine) -> html.Tr:
    step = line.step
    times = f"{line.turns}×" if line.turns > 1 and line.first else "│" if line.turns > 1 else ""
    cells = [
        (clock_text(line.start_s), "card-clock"), (times, "card-times"), (clock_text(step.duration_s), "card-length"),
        (_target(step), "card-target" if step.target_w is not None else "card-target card-word"),
        ("" if step.cadence_rpm is None else number(step.cadence_rpm, 0), "card-rpm"),
        (_name(step), "card-name"),
    ]  # fmt: skip
    return html.Tr([html.Td(text, className=name) for text, name in cells], className="card-first" if line.first else "")


def _target(step: Exercise) -> str:
    if step.target_w is not None:
        return number(step.target_w, 0)
    return WORDS.get(step.exercise, "" if step.exercise == "easy" else NOTHING)


def _name(step: Exercise) -> str:
    position = step.position if step.position != "any" and step.position not in step.name else ""
    kept = "trainer holds" if step.kept_by == "trainer" else ""
    return ", ".join(word for word in (step.name, position, kept) if word)
