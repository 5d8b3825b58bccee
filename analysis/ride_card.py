"""A design as the short list to tape to the bars: what repeats in the same order stands there once. Seconds, watts."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.designing import Design, Exercise, ridden


@dataclass(frozen=True, kw_only=True)
class CardLine:
    """One line: when it is ridden first, and how often in a row the lines of its group are; `first` opens a group. [s]"""

    start_s: float
    step: Exercise
    turns: int
    first: bool


def card_lines(design: Design) -> tuple[CardLine, ...]:
    """The lines in the order of the ride. Raises as `designing.ridden`."""
    lines = []
    seen: tuple[int, int] | None = None
    for one in ridden(design):
        part = design.parts[one.part]
        alike = part.order == "as written" or len(part.steps) == 1
        if alike and one.turn:
            continue
        turns = part.repeats if alike else 1
        lines.append(CardLine(start_s=one.start_s, step=one.step, turns=turns, first=seen != (one.part, one.turn)))
        seen = (one.part, one.turn)
    return tuple(lines)
