"""A ride plan as a sheet shows it <-> the steps of a set-up; and a list that was pasted, or a recording, -> steps. Pure.

A step in a sheet is four texts: name, length (`10:00`, `1:02:03` or seconds), target in watts, kind.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from analysis.errors import BadSetup
from analysis.plan import MIN_LAPS, plan_from
from analysis.setup import KINDS, PlanStep, Setup, setup_from_dict, setup_from_toml
from app import ids
from app.wording import clock_text

# A ride has some fifty steps; a longer list is another file pasted by mistake.
MAX_STEPS = 200
MAX_LIST_CHARS = 40_000
_CLOCK = re.compile(r"(?:(\d{1,2}):)?(\d{1,4}):([0-5]\d)")
_UNIT = re.compile(r"\s*(s|sec|seconds|min|minutes|w|watts)\.?$", re.IGNORECASE)
_HEADER_WORDS = frozenset({"name", "step", "length", "duration", "duration_s", "seconds", "target", "target_w", "watts"})

StepTexts = Mapping[str, str]


def texts_of(steps: Sequence[PlanStep]) -> list[dict[str, str]]:
    """A set-up's steps as a sheet's fields."""
    return [
        {
            ids.STEP_NAME: step.name,
            ids.STEP_LENGTH: clock_text(step.duration_s) if step.duration_s == round(step.duration_s) else f"{step.duration_s:g}",
            ids.STEP_TARGET: "" if step.target_w is None else f"{step.target_w:g}",
            ids.STEP_KIND: step.kind,
        }
        for step in steps
    ]


def steps_of(texts: Sequence[StepTexts]) -> list[dict[str, Any]]:
    """A sheet's steps as a set-up's tree has them; a row with nothing in it counts for nothing.

    Raises
    ------
    BadSetup
        A step without a length, or a length or target that is none; the sentence names the step.
    """
    said = [t for t in texts if any(t.get(part) for part in (ids.STEP_NAME, ids.STEP_LENGTH, ids.STEP_TARGET))]
    if len(said) > MAX_STEPS:
        raise BadSetup(f"A ride plan has at most {MAX_STEPS} steps; got {len(said)}.")
    return [_step(number, texts) for number, texts in enumerate(said, start=1)]


def read_list(text: str) -> list[dict[str, str]]:
    """A pasted list as a sheet's steps: `[[plan]]` entries of a set-up file, or one step a line, `name, length, watts, kind`.

    Cells are parted by tabs, semicolons or commas, as a spreadsheet copies them; a line of headings is passed over.

    Raises
    ------
    BadSetup
        Neither; the sentence names the line and what was expected.
    """
    if not text.strip() or len(text) > MAX_LIST_CHARS:
        raise BadSetup("Paste or type the steps first, one a line: name, length, watts, kind.")
    if "[[" in text:
        steps = setup_from_toml(text, name="The list").plan
        if not steps:
            raise BadSetup("The list has no [[plan]] entry; give one for each step of the ride.")
        return texts_of(steps)
    lines = [line for line in text.splitlines() if line.strip()]
    if _HEADER_WORDS & {cell.lower() for cell in _cells(lines[0])}:
        lines = lines[1:]
    tree = steps_of([_line(number, line) for number, line in enumerate(lines, start=1)])
    return texts_of(_checked(tree).plan)


def brought_by(facts: Mapping[str, Any], name: str) -> list[dict[str, str]]:
    """The steps that a recording brought along, whole seconds: its workout, else its laps.

    A lap's mean is a reading of the device, not a target that was planned, so it is left out.

    Raises
    ------
    BadSetup
        It brought none.
    """
    steps = plan_from(facts)
    if not steps:
        raise BadSetup(f"{name} brings no workout in watts and fewer than {MIN_LAPS} laps; type the steps or paste a list.")
    laps = plan_from({"laps": facts.get("laps", ())}) == steps
    return texts_of([replace(s, duration_s=float(round(s.duration_s)), target_w=None if laps else s.target_w) for s in steps])


def _line(number: int, line: str) -> dict[str, str]:
    cells = _cells(line)
    if len(cells) < 2 or len(cells) > 4:
        got = line.strip()[:60]
        raise BadSetup(f"Line {number} of the list must be name, length, watts, kind, parted by commas; got {got!r}.")
    kind = cells.pop() if cells[-1].lower() in KINDS else ""
    parts = zip(ids.STEP_PARTS, [*cells[:3], "", ""], strict=False)
    return {**dict(parts), ids.STEP_KIND: kind.lower()}


def _cells(line: str) -> list[str]:
    mark = next((mark for mark in "\t;," if mark in line), ",")
    return [cell.strip().strip('"') for cell in line.split(mark)]


def _step(number: int, texts: StepTexts) -> dict[str, Any]:
    name = texts.get(ids.STEP_NAME, "")
    where = f"step {number} of the ride plan" + (f" ({name[:40]})" if name else "")
    if not texts.get(ids.STEP_LENGTH):
        raise BadSetup(f"The length is missing in {where}; give it as 10:00 or in seconds.")
    step = {"duration_s": _seconds(texts[ids.STEP_LENGTH], where), "kind": texts.get(ids.STEP_KIND) or "steady"}
    if name:
        step["name"] = name
    if texts.get(ids.STEP_TARGET):
        step["target_w"] = _watts(texts[ids.STEP_TARGET], where)
    if step["kind"] not in KINDS:
        raise BadSetup(f"The kind in {where} must be one of {', '.join(KINDS)}; got {step['kind']!r}.")
    return step


def _seconds(text: str, where: str) -> float:
    clock = _CLOCK.fullmatch(text)
    if clock:
        hours, minutes, seconds = (int(part or 0) for part in clock.groups())
        return float(3600 * hours + 60 * minutes + seconds)
    unit = _UNIT.search(text)
    per = 60.0 if unit and unit[1].lower().startswith("min") else 1.0
    return per * _number(text, f"length in {where} must be like 10:00, 600 or 10 min")


def _watts(text: str, where: str) -> float:
    return _number(text, f"target in {where} must be a number of watts")


def _number(text: str, what: str) -> float:
    try:
        return float(_UNIT.sub("", text).replace(",", "."))
    except ValueError:
        raise BadSetup(f"The {what}; got {text!r}.") from None


def _checked(tree: Sequence[Mapping[str, Any]]) -> Setup:
    return setup_from_dict({"plan": list(tree)}, name="The list")
