"""A ride plan before it is ridden: parts with steps and repeats -> the steps in order, `[[plan]]`, a fingerprint.

Durations in seconds, targets in watts or as a share of the rider's one-hour power. The seed of a random order is part of the
design, so that the same design always gives the same ride.
"""

from __future__ import annotations

import hashlib
import json
import random
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from analysis.errors import BadSetup
from analysis.fields import Fields
from analysis.setup import DEFAULT_CLAIM_PCT, DEFAULT_LOSS_PCT, MAX_CLAIM_PCT, MAX_LOSS_PCT, POINTS, PlanStep
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
MAX_RIDDEN = 200  # steps of the whole ride, as many as a trial's set-up sheet takes
MAX_RIDE_S = 12 * 3600.0  # longer is a typing error
# From, to: what lies beyond is a typing error.
DURATION_S, TARGET_W, HOUR_SHARE = (5.0, 4 * 3600.0), (0.0, 3000.0), (0.0, 10.0)
CADENCE_RPM, HOUR_W = (20.0, 200.0), (50.0, 600.0)
MAX_SEED = 2**31
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
class Aim:
    """What the ride is to settle: the maker's claim, ± % of reading, for a device held against a reference.

    A measuring point is one of POINTS or None where it is not known yet; `loss_pct` is the loss between the two sides of the
    chain, from and to. [% of upstream power] assumed : which of these nobody has chosen yet.
    """

    claim_pct: float = DEFAULT_CLAIM_PCT
    reference_claim_pct: float = DEFAULT_CLAIM_PCT
    point: str | None = None
    reference_point: str | None = None
    loss_pct: tuple[float, float] = DEFAULT_LOSS_PCT
    assumed: tuple[str, ...] = ()


# What of an aim may still be assumed.
AIM_PARTS = tuple(name for name in Aim.__dataclass_fields__ if name != "assumed")


@dataclass(frozen=True, kw_only=True)
class Ridden:
    """One step as it is ridden: which part (from 0), in which turn of it (from 0), when. [s from the start]"""

    part: int
    turn: int
    start_s: float
    step: Exercise


@dataclass(frozen=True, kw_only=True)
class Design:
    """A whole ride; `hour_w` is what the rider can hold for an hour, None where every target is in watts."""

    title: str
    parts: tuple[Part, ...]
    hour_w: float | None = None
    seed: int = 0
    aim: Aim = Aim()

    def to_dict(self) -> dict[str, Any]:
        """What `design_from_dict` reads back to an equal design; an aim that was chosen says nothing of assumptions."""
        tree = asdict(self)
        if not self.aim.assumed:
            del tree["aim"]["assumed"]  # so that plans of before have the fingerprint they had
        return tree


def ridden(design: Design) -> tuple[Ridden, ...]:
    """The steps as they will be ridden, by the names they were given, targets in watts.

    Raises
    ------
    BadSetup
        A target is a share of a one-hour power that is not stated, or the ride has more than MAX_RIDDEN steps or MAX_RIDE_S.
    """
    count = sum(part.repeats * len(part.steps) for part in design.parts)
    if count > MAX_RIDDEN:
        raise BadSetup(f"The plan has {count} steps in all; {MAX_RIDDEN} is the most, check the repeats.")
    rng, start_s, out = random.Random(design.seed), 0.0, []
    for place, part in enumerate(design.parts):
        for number, step in enumerate(_turns(part, rng)):
            turn = number // len(part.steps)
            out.append(Ridden(part=place, turn=turn, start_s=start_s, step=_in_watts(step, design, part)))
            start_s += step.duration_s
    if start_s > MAX_RIDE_S:
        most_h = MAX_RIDE_S / 3600
        raise BadSetup(f"The plan lasts {start_s / 3600:.1f} h; {most_h:.0f} h is the most, check durations and repeats.")
    return tuple(out)


def steps_of(design: Design) -> tuple[Exercise, ...]:
    """The same steps without their times; names are numbered where one comes more than once. Raises as `ridden`."""
    steps = [r.step for r in ridden(design)]
    often = Counter(s.name for s in steps)
    seen: Counter[str] = Counter()
    named = []
    for step in steps:
        if often[step.name] > 1:
            seen[step.name] += 1
            step = replace(step, name=f"{step.name} {seen[step.name]}")
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


def counted_steps(design: Design) -> tuple[PlanStep, ...]:
    """Those that a delta can rest on: the sync pattern is ridden for the clocks, its bursts are no sprints."""
    return tuple(step for step, one in zip(plan_steps(design), ridden(design), strict=True) if one.step.exercise != "sync")


def plan_toml(design: Design) -> str:
    """The `[[plan]]` entries of a `setup.toml`, in the order of the ride."""
    entries = []
    for step in plan_steps(design):
        name = json.dumps(step.name, ensure_ascii=False).replace("\x7f", "\\u007f")  # which JSON may hold as it is, TOML not
        lines = ["[[plan]]", f"name = {name}", f"duration_s = {step.duration_s:g}"]
        lines += [f"target_w = {step.target_w:g}"] if step.target_w is not None else []
        entries.append("\n".join([*lines, f'kind = "{step.kind}"']))
    return "\n\n".join(entries) + "\n"


def fingerprint(design: Design) -> str:
    """SHA-256 of all that will be ridden and what it is to settle; kept with a date before the ride, it shows what came first."""
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
    target_w = float(round(step.hour_share * design.hour_w))
    if target_w > TARGET_W[1]:
        raise BadSetup(
            f"{part.name}, {step.name}: {step.hour_share:.0%} of {design.hour_w:g} W are {target_w:.0f} W; check the share, "
            f"{TARGET_W[1]:.0f} W is the most."
        )
    return replace(step, target_w=target_w, hour_share=None)


def design_from_dict(tree: Mapping[str, Any]) -> Design:
    """Check a design as typed or as kept.

    Raises
    ------
    BadSetup
        One sentence naming the field, such as `parts[2].steps[0].duration_s`, and what it must be.
    """
    got = Fields(tree, known=Design.__dataclass_fields__)
    design = Design(
        title=got.text("title", MAX_TEXT), parts=tuple(_part(*entry) for entry in got.entries("parts", 1, MAX_PARTS)),
        hour_w=got.number("hour_w", *HOUR_W), seed=got.whole("seed", 0, MAX_SEED), aim=_aim(tree.get("aim") or {}),
    )  # fmt: skip
    ridden(design)
    return design


def _aim(entry: Any) -> Aim:
    got, usual = Fields(entry, "aim.", known=Aim.__dataclass_fields__), Aim()
    claims = [got.number(key, 0.0, MAX_CLAIM_PCT) for key in ("claim_pct", "reference_claim_pct")]
    loss = entry.get("loss_pct", usual.loss_pct)
    plain = isinstance(loss, (list, tuple)) and len(loss) == 2 and all(_is_share(edge) for edge in loss)
    if not plain or loss[0] > loss[1]:
        raise got.complain("loss_pct", f"must be two numbers, from and to, from 0 to {MAX_LOSS_PCT:g}; got {loss!r}.")
    return Aim(
        claim_pct=usual.claim_pct if claims[0] is None else claims[0],
        reference_claim_pct=usual.reference_claim_pct if claims[1] is None else claims[1],
        point=got.one_of("point", POINTS) if entry.get("point") else None,
        reference_point=got.one_of("reference_point", POINTS) if entry.get("reference_point") else None,
        loss_pct=(float(loss[0]), float(loss[1])), assumed=_assumed(entry, got),
    )


def _assumed(entry: Mapping[str, Any], got: Fields) -> tuple[str, ...]:
    said = entry.get("assumed") or ()
    if not isinstance(said, (list, tuple)) or any(name not in AIM_PARTS for name in said):
        raise got.complain("assumed", f"may hold {', '.join(AIM_PARTS)}; got {said!r}.")
    return tuple(name for name in AIM_PARTS if name in said)


def _is_share(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and 0 <= value <= MAX_LOSS_PCT


def _part(entry: Any, where: str) -> Part:
    got = Fields(entry, where, known=Part.__dataclass_fields__)
    return Part(
        name=got.text("name", MAX_TEXT), steps=tuple(_exercise(*step) for step in got.entries("steps", 1, MAX_STEPS)),
        repeats=got.whole("repeats", 1, MAX_REPEATS), order=got.one_of("order", ORDERS),
    )  # fmt: skip


def _exercise(entry: Any, where: str) -> Exercise:
    got = Fields(entry, where, known=Exercise.__dataclass_fields__)
    duration_s = got.number("duration_s", *DURATION_S)
    if duration_s is None:
        raise got.complain("duration_s", "is missing; give the step's length in seconds.")
    step = Exercise(
        name=got.text("name", MAX_TEXT), duration_s=duration_s, exercise=got.one_of("exercise", tuple(EXERCISES)),
        target_w=got.number("target_w", *TARGET_W), hour_share=got.number("hour_share", *HOUR_SHARE),
        cadence_rpm=got.number("cadence_rpm", *CADENCE_RPM), position=got.one_of("position", POSITIONS),
        kept_by=got.one_of("kept_by", KEPT_BY),
    )  # fmt: skip
    if step.target_w is not None and step.hour_share is not None:
        raise got.complain("target_w", "and hour_share are both given; keep one of them.")
    if step.exercise == "sync" and step.duration_s != PATTERN.size:
        raise got.complain("duration_s", f"must be {PATTERN.size} for the sync pattern; got {step.duration_s:g}.")
    return step
