"""A ride plan before it is ridden: parts with steps and repeats -> the steps in order, `[[plan]]`, a fingerprint.

Durations in seconds, targets in watts or as a share of the rider's one-hour power. The seed of a random order is part of the
design, so that the same design always gives the same ride.
"""

from __future__ import annotations

import hashlib
import json
import math
import random
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

from analysis.errors import BadSetup
from analysis.setup import PlanStep
from analysis.sync_pattern import PATTERN

# What a step is -> the kind of block that it will make.
EXERCISES = {
    "hold": "steady", "easy": "free", "surge": "transient", "sprint": "transient", "sync": "transient",
    "coast": "idle", "zero": "idle",
}  # fmt: skip
MAXIMAL = frozenset({"sprint"})
POSITIONS = ("any", "seated", "standing")
# Who keeps the power: the rider, or a trainer that holds it (which hides what the devices make of surges).
KEPT_BY = ("rider", "trainer")
# As written; every second turn backwards, so that a trend with time cannot pass for one with level; or shuffled by the seed.
ORDERS = ("as written", "there and back", "shuffled")
MAX_PARTS, MAX_STEPS, MAX_REPEATS = 60, 40, 40
MAX_RIDE_S = 12 * 3600.0  # longer is a typing error
LIMITS = {"duration_s": (5.0, 4 * 3600.0), "target_w": (0.0, 3000.0), "hour_share": (0.0, 10.0), "cadence_rpm": (20.0, 200.0),
          "hour_w": (50.0, 600.0)}  # fmt: skip
MAX_TEXT = 80


@dataclass(frozen=True, kw_only=True)
class Exercise:
    """One step. Its target is `target_w`, or `hour_share` of the one-hour power, or none."""

    name: str
    duration_s: float
    exercise: str = "hold"
    target_w: float | None = None
    hour_share: float | None = None
    cadence_rpm: float | None = None
    position: str = "any"
    kept_by: str = "rider"


@dataclass(frozen=True, kw_only=True)
class Part:
    """Steps that belong together and are ridden `repeats` times in the given order."""

    name: str
    steps: tuple[Exercise, ...]
    repeats: int = 1
    order: str = "as written"


@dataclass(frozen=True, kw_only=True)
class Design:
    """A whole ride; `hour_w` is what the rider can hold for an hour, None where every target is in watts."""

    title: str
    parts: tuple[Part, ...]
    hour_w: float | None = None
    seed: int = 0

    def to_dict(self) -> dict[str, Any]:
        """What `design_from_dict` reads back to an equal design."""
        return asdict(self)


def steps_of(design: Design) -> tuple[Exercise, ...]:
    """The steps as they will be ridden; names are numbered where one comes more than once, targets are in watts.

    Raises
    ------
    BadSetup
        A target is a share of a one-hour power that is not stated, or the ride is longer than MAX_RIDE_S.
    """
    rng = random.Random(design.seed)
    ridden = [_in_watts(step, design, part) for part in design.parts for step in _turns(part, rng)]
    total_s = sum(step.duration_s for step in ridden)
    if total_s > MAX_RIDE_S:
        most_h = MAX_RIDE_S / 3600
        raise BadSetup(f"The plan lasts {total_s / 3600:.1f} h; {most_h:.0f} h is the most, check durations and repeats.")
    often = {s.name for s in ridden if sum(s.name == other.name for other in ridden) > 1}
    count = dict.fromkeys(often, 0)
    named = []
    for step in ridden:
        if step.name in often:
            count[step.name] += 1
            step = replace(step, name=f"{step.name} {count[step.name]}")
        named.append(step)
    return tuple(named)


def total_s(design: Design) -> float:
    """How long the ride lasts. [s]"""
    return sum(step.duration_s for step in steps_of(design))


def plan_steps(design: Design) -> tuple[PlanStep, ...]:
    """The same as the set-up's plan, which gives the ridden blocks their names."""
    return tuple(
        PlanStep(name=s.name, duration_s=s.duration_s, target_w=s.target_w, kind=EXERCISES[s.exercise]) for s in steps_of(design)
    )


def plan_toml(design: Design) -> str:
    """The `[[plan]]` entries of a `setup.toml`, in the order of the ride."""
    entries = []
    for step in plan_steps(design):
        lines = ["[[plan]]", f"name = {json.dumps(step.name, ensure_ascii=False)}", f"duration_s = {step.duration_s:g}"]
        lines += [f"target_w = {step.target_w:g}"] if step.target_w is not None else []
        entries.append("\n".join([*lines, f'kind = "{step.kind}"']))
    return "\n\n".join(entries) + "\n"


def fingerprint(design: Design) -> str:
    """SHA-256 of all that decides what will be ridden; kept with a date before the ride, it shows that the plan came first."""
    text = json.dumps(design.to_dict(), sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def asks_all_out(design: Design) -> bool:
    """Whether a step is a maximal effort, beside which the cautions belong."""
    return any(s.exercise in MAXIMAL for part in design.parts for s in part.steps)


def _turns(part: Part, rng: random.Random) -> list[Exercise]:
    out: list[Exercise] = []
    for turn in range(part.repeats):
        steps = list(part.steps)
        if part.order == "there and back" and turn % 2:
            steps.reverse()
        elif part.order == "shuffled":
            rng.shuffle(steps)
        out += steps
    return out


def _in_watts(step: Exercise, design: Design, part: Part) -> Exercise:
    if step.hour_share is None:
        return step
    if design.hour_w is None:
        raise BadSetup(
            f"{part.name}, {step.name}: its target is a share of the one-hour power, which is missing; state it, or give watts."
        )
    return replace(step, target_w=float(round(step.hour_share * design.hour_w)), hour_share=None)


def design_from_dict(tree: Mapping[str, Any]) -> Design:
    """Check a design as typed or as kept.

    Raises
    ------
    BadSetup
        One sentence naming the field, such as `parts[2].steps[0].duration_s`, and what it must be.
    """
    _only(tree, Design, "")
    parts = _list(tree, "parts", "", MAX_PARTS)
    design = Design(
        title=_text(tree, "title", ""), parts=tuple(_part(p, f"parts[{i}].") for i, p in enumerate(parts)),
        hour_w=_number(tree, "hour_w", ""), seed=_whole(tree, "seed", "", 0, 2**31),
    )  # fmt: skip
    steps_of(design)
    return design


def _part(entry: Any, where: str) -> Part:
    _only(entry, Part, where)
    steps = _list(entry, "steps", where, MAX_STEPS)
    return Part(
        name=_text(entry, "name", where), steps=tuple(_exercise(s, f"{where}steps[{i}].") for i, s in enumerate(steps)),
        repeats=_whole(entry, "repeats", where, 1, MAX_REPEATS), order=_one_of(entry, "order", where, ORDERS),
    )  # fmt: skip


def _exercise(entry: Any, where: str) -> Exercise:
    _only(entry, Exercise, where)
    step = Exercise(
        name=_text(entry, "name", where), duration_s=_number(entry, "duration_s", where) or 0.0,
        exercise=_one_of(entry, "exercise", where, tuple(EXERCISES)), target_w=_number(entry, "target_w", where),
        hour_share=_number(entry, "hour_share", where), cadence_rpm=_number(entry, "cadence_rpm", where),
        position=_one_of(entry, "position", where, POSITIONS), kept_by=_one_of(entry, "kept_by", where, KEPT_BY),
    )  # fmt: skip
    if not step.duration_s:
        raise BadSetup(f"{where}duration_s is missing; give the step's length in seconds.")
    if step.target_w is not None and step.hour_share is not None:
        raise BadSetup(f"{where}target_w and hour_share are both given; keep one of them.")
    if step.exercise == "sync" and step.duration_s != PATTERN.size:
        raise BadSetup(f"{where}duration_s must be {PATTERN.size} for the sync pattern; got {step.duration_s:g}.")
    return step


def _only(entry: Any, cls: type, where: str) -> None:
    if not isinstance(entry, Mapping):
        raise BadSetup(f"{where or 'The plan'} must be a table of named fields; got {type(entry).__name__}.")
    known = {f.name for f in fields(cls)}
    for key in entry:
        if key not in known:
            raise BadSetup(f"unknown key {where}{key}; known here: {', '.join(sorted(known))}.")


def _list(entry: Mapping[str, Any], key: str, where: str, most: int) -> list[Any]:
    value = entry.get(key)
    if not isinstance(value, (list, tuple)) or not 1 <= len(value) <= most:
        got = f"{len(value)} entries" if isinstance(value, (list, tuple)) else repr(value)
        raise BadSetup(f"{where}{key} must be a list of 1 to {most} entries; got {got}.")
    return list(value)


def _text(entry: Mapping[str, Any], key: str, where: str) -> str:
    value = entry.get(key)
    if not isinstance(value, str) or not 1 <= len(value.strip()) <= MAX_TEXT:
        raise BadSetup(f"{where}{key} must be text of 1 to {MAX_TEXT} characters; got {value!r}.")
    return value.strip()


def _one_of(entry: Mapping[str, Any], key: str, where: str, known: tuple[str, ...]) -> str:
    value = entry.get(key, known[0])
    if value not in known:
        raise BadSetup(f"{where}{key} must be one of {', '.join(known)}; got {value!r}.")
    return value


def _whole(entry: Mapping[str, Any], key: str, where: str, low: int, high: int) -> int:
    value = entry.get(key, low)
    if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
        raise BadSetup(f"{where}{key} must be a whole number from {low} to {high}; got {value!r}.")
    return value


def _number(entry: Mapping[str, Any], key: str, where: str) -> float | None:
    value, (low, high) = entry.get(key), LIMITS[key]
    if value is None:
        return None
    if not isinstance(value, (int, float)) or isinstance(value, bool) or not math.isfinite(value) or not low <= value <= high:
        raise BadSetup(f"{where}{key} must be a number from {low:g} to {high:g}; got {value!r}.")
    return float(value)
