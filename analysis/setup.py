"""The set-up of a trial: who is the reference, where each device measures, what its maker claims, what was planned.

Reads the text of `setup.toml` (or the same tree as a dict, from the page) and gives frozen dataclasses; every complaint
names the key.
"""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from analysis.edits import Edit, edit_from_dict
from analysis.errors import BadSetup

# Upstream to downstream; the chain lies between the first three and the last three.
POINTS = ("pedal", "crank", "spider", "hub", "trainer", "roller")
UPSTREAM_OF_CHAIN = frozenset(POINTS[:3])
SIDES = ("both", "left", "right")  # which side a device measures; one side alone is doubled
# Where a file carries its own power and one that an application wrote; its own is used unless chosen otherwise.
POWERS = ("native", "developer")
KINDS = ("steady", "transient", "free", "idle", "gap")
TRIAL_KEYS = ("title", "reference", "frozen_hash", "frozen_utc")

# Between pedals and hub: 95 % range of the trade's prior for a derailleur chain. Common practice, no source;
# measured values it spans: 2.1 % (SD 1.5), doi 10.1007/s12283-023-00439-z; 1.4 % at best, doi 10.1115/1.1412848.
DEFAULT_LOSS_PCT = (1.0, 5.0)
# Used where no claim is stated, and said so; makers' claims run from 1 to 2 %. Common practice, no source.
DEFAULT_CLAIM_PCT = 2.0

MAX_CLAIM_PCT = 50.0
MAX_LOSS_PCT = 50.0
MAX_SHIFT_S = 10 * 366 * 86400.0  # a head unit that lost its date; beyond ten years it is a typing error


@dataclass(frozen=True, kw_only=True)
class DeviceSetup:
    """What the reviewer says of one recording; None where nothing was said."""

    file: str | None = None
    label: str | None = None
    point: str | None = None
    claim_pct: float | None = None
    firmware: str | None = None
    shift_s: float | None = None
    sides: str | None = None
    power: str | None = None
    obtained: str | None = None  # bought, lent by the maker, ...: what a reader needs to weigh a verdict


@dataclass(frozen=True, kw_only=True)
class PlanStep:
    """One step of the ride as planned."""

    name: str
    duration_s: float
    target_w: float | None = None
    kind: str = "steady"


@dataclass(frozen=True, kw_only=True)
class FrozenPlan:
    """The ride plan that was frozen beforehand, as the set-up says: its fingerprint, when, and that of its steps as they were."""

    sha256: str
    frozen_utc: str
    steps_sha256: str


@dataclass(frozen=True, kw_only=True)
class Setup:
    """The whole set-up; `loss_pct` is the loss between pedals and hub or trainer, as a range. [% of upstream power]"""

    title: str | None = None
    reference: str | None = None
    loss_pct: tuple[float, float] = DEFAULT_LOSS_PCT
    devices: tuple[DeviceSetup, ...] = ()
    plan: tuple[PlanStep, ...] = ()
    edits: tuple[Edit, ...] = ()
    frozen_hash: str | None = None  # of the blocks, see analysis/freezing.py
    frozen_utc: str | None = None
    frozen_plan: FrozenPlan | None = None

    def to_dict(self) -> dict[str, Any]:
        """The tree that `setup_from_dict` reads back to an equal set-up."""
        trial = {k: getattr(self, k) for k in TRIAL_KEYS if getattr(self, k) is not None}
        return {
            "trial": trial,
            "drivetrain": {"loss_pct": list(self.loss_pct)},
            "device": [{k: v for k, v in vars(d).items() if v is not None} for d in self.devices],
            "plan": [{k: v for k, v in vars(s).items() if v is not None} for s in self.plan],
            **({"edit": [e.to_dict() for e in self.edits]} if self.edits else {}),
            **({"frozen_plan": dict(vars(self.frozen_plan))} if self.frozen_plan else {}),
        }


def setup_from_toml(text: str, *, name: str = "setup.toml") -> Setup:
    """Read the text of a set-up file.

    Raises
    ------
    BadSetup
        Not TOML, unknown key, wrong type or value out of range; the message names the file and the key.
    """
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise BadSetup(f"{name} is not valid TOML ({problem}); correct that line and run again.") from None
    return setup_from_dict(tree, name=name)


def setup_from_dict(tree: dict[str, Any], *, name: str = "setup") -> Setup:
    """Check a set-up tree as TOML or JSON gives it. Raises BadSetup, naming the key."""
    _only(tree, {"trial", "drivetrain", "device", "plan", "edit", "frozen_plan"}, name, "")
    trial = _table(tree, "trial", name)
    _only(trial, set(TRIAL_KEYS), name, "trial.")
    drivetrain = _table(tree, "drivetrain", name)
    _only(drivetrain, {"loss_pct"}, name, "drivetrain.")
    devices = tuple(_device(d, i, name) for i, d in enumerate(_tables(tree, "device", name)))
    for key in ("file", "label"):
        given = [getattr(d, key) for d in devices if getattr(d, key) is not None]
        twice = next((v for v in given if given.count(v) > 1), None)
        if twice is not None:
            raise BadSetup(f"{name}: two [[device]] entries have {key} = {twice!r}; each needs its own.")
    return Setup(
        title=_text(trial, "title", name, "trial."),
        reference=_text(trial, "reference", name, "trial."),
        loss_pct=_loss(drivetrain, name),
        devices=devices,
        plan=tuple(_step(s, i, name) for i, s in enumerate(_tables(tree, "plan", name))),
        edits=tuple(edit_from_dict(e, i, name=name) for i, e in enumerate(_tables(tree, "edit", name))),
        frozen_hash=_hash(trial, "frozen_hash", name, "trial."),
        frozen_utc=_text(trial, "frozen_utc", name, "trial."),
        frozen_plan=_frozen_plan(_table(tree, "frozen_plan", name), name),
    )


def _frozen_plan(entry: dict[str, Any], name: str) -> FrozenPlan | None:
    where, keys = "frozen_plan.", set(FrozenPlan.__dataclass_fields__)
    _only(entry, keys, name, where)
    if not entry:
        return None
    missing = sorted(keys - entry.keys())
    if missing:
        raise BadSetup(f"{name}: {where}{missing[0]} is missing; leave the whole table out, or give what the kept plan says.")
    hashes = {key: _hash(entry, key, name, where) or "" for key in ("sha256", "steps_sha256")}
    return FrozenPlan(frozen_utc=_moment(entry, "frozen_utc", name, where), **hashes)


def _device(entry: dict[str, Any], index: int, name: str) -> DeviceSetup:
    where = f"device[{index}]."
    _only(entry, {"file", "label", "point", "claim_pct", "firmware", "shift_s", "sides", "power", "obtained"}, name, where)
    point = _text(entry, "point", name, where)
    if point is not None and point not in POINTS:
        raise BadSetup(f"{name}: {where}point must be one of {', '.join(POINTS)}; got {point!r}.")
    sides = _text(entry, "sides", name, where)
    if sides is not None and sides not in SIDES:
        raise BadSetup(f"{name}: {where}sides must be one of {', '.join(SIDES)}; got {sides!r}.")
    power = _text(entry, "power", name, where)
    if power is not None and power not in POWERS:
        raise BadSetup(f"{name}: {where}power must be one of {', '.join(POWERS)}; got {power!r}.")
    device = DeviceSetup(
        file=_text(entry, "file", name, where),
        label=_text(entry, "label", name, where),
        point=point,
        claim_pct=_number(entry, "claim_pct", name, where, 0.0, MAX_CLAIM_PCT),
        firmware=_text(entry, "firmware", name, where),
        shift_s=_number(entry, "shift_s", name, where, -MAX_SHIFT_S, MAX_SHIFT_S),
        sides=sides,
        power=power,
        obtained=_text(entry, "obtained", name, where),
    )
    if device.file is None and device.label is None:
        raise BadSetup(f"{name}: {where[:-1]} needs a file or a label, else nothing says which recording it is.")
    return device


def _step(entry: dict[str, Any], index: int, name: str) -> PlanStep:
    where = f"plan[{index}]."
    _only(entry, {"name", "duration_s", "target_w", "kind"}, name, where)
    duration_s = _number(entry, "duration_s", name, where, 1.0, 86400.0)
    if duration_s is None:
        raise BadSetup(f"{name}: {where}duration_s is missing; give the step's length in seconds.")
    kind = _text(entry, "kind", name, where) or "steady"
    if kind not in KINDS:
        raise BadSetup(f"{name}: {where}kind must be one of {', '.join(KINDS)}; got {kind!r}.")
    return PlanStep(
        name=_text(entry, "name", name, where) or f"step {index + 1}",
        duration_s=duration_s,
        target_w=_number(entry, "target_w", name, where, 0.0, 3000.0),
        kind=kind,
    )


def _loss(drivetrain: dict[str, Any], name: str) -> tuple[float, float]:
    value = drivetrain.get("loss_pct", list(DEFAULT_LOSS_PCT))
    good = isinstance(value, (list, tuple)) and len(value) == 2 and all(_is_number(v) for v in value)
    if not good or not 0.0 <= value[0] <= value[1] <= MAX_LOSS_PCT:
        raise BadSetup(
            f"{name}: drivetrain.loss_pct must be two numbers, lower then upper, from 0 to {MAX_LOSS_PCT:g} %; got {value!r}."
        )
    return float(value[0]), float(value[1])


def _hash(tree: dict[str, Any], key: str, name: str, where: str) -> str | None:
    value = _text(tree, key, name, where)
    if value is not None and not re.fullmatch("[0-9a-f]{64}", value):
        raise BadSetup(f"{name}: {where}{key} must be 64 hexadecimal digits as the result gives them; got {value!r}.")
    return value


def _moment(tree: dict[str, Any], key: str, name: str, where: str) -> str:
    value = _text(tree, key, name, where) or ""
    try:
        known = datetime.fromisoformat(value).tzinfo is not None
    except ValueError:
        known = False
    if not known:
        raise BadSetup(f"{name}: {where}{key} must be a time with its zone such as 2026-03-14T18:00:00Z; got {value!r}.")
    return value


def _only(tree: dict[str, Any], known: set[str], name: str, where: str) -> None:
    for key in tree:
        if key not in known:
            raise BadSetup(f"{name}: unknown key {where}{key}; known here: {', '.join(sorted(known))}.")


def _table(tree: dict[str, Any], key: str, name: str) -> dict[str, Any]:
    value = tree.get(key, {})
    if not isinstance(value, dict):
        raise BadSetup(f"{name}: {key} must be a table, written [{key}]; got {value!r}.")
    return value


def _tables(tree: dict[str, Any], key: str, name: str) -> list[dict[str, Any]]:
    value = tree.get(key, [])
    if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
        raise BadSetup(f"{name}: {key} must be a list of tables, each written [[{key}]]; got {value!r}.")
    return value


def _text(tree: dict[str, Any], key: str, name: str, where: str) -> str | None:
    value = tree.get(key)
    if value is None:
        return None
    if not isinstance(value, str) or not value.strip() or len(value) > 200:
        raise BadSetup(f"{name}: {where}{key} must be text of 1 to 200 characters in quotes; got {value!r}.")
    return value.strip()


def _number(tree: dict[str, Any], key: str, name: str, where: str, low: float, high: float) -> float | None:
    value = tree.get(key)
    if value is None:
        return None
    if not _is_number(value) or not low <= value <= high:
        raise BadSetup(f"{name}: {where}{key} must be a number from {low:g} to {high:g}; got {value!r}.")
    return float(value)


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
