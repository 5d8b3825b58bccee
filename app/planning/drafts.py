"""A ride plan as its page shows it, all of it text <-> `analysis.designing.Design`. Pure; no dash.

A field is named by its place: `hour`, `parts.2.repeats`, `parts.2.steps.0.length`; complaints come back under the same names.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from analysis import designing
from analysis.designing import Design, Exercise, design_from_dict
from analysis.errors import BadSetup
from analysis.setup import MAX_CLAIM_PCT, MAX_LOSS_PCT
from analysis.sync_pattern import PATTERN
from app.wording import clock_text

WATTS, SHARE = "W", "%"
NONE = ""
STEP_FIELDS = ("name", "exercise", "length", "target", "unit", "cadence", "position", "kept")
PART_FIELDS = ("name", "repeats", "order")
TOP_FIELDS = ("title", "hour", "seed", "claim", "reference-claim", "point", "reference-point", "loss-low", "loss-high", "assumed")
_CLOCK = re.compile(r"(?:(\d{1,2}):)?(\d{1,4}):([0-5]\d)")
LENGTHS = f"from {clock_text(designing.DURATION_S[0])} to {clock_text(designing.DURATION_S[1])}"


@dataclass(frozen=True, kw_only=True)
class ReadDraft:
    """The design, or None and the sentences that say why not, by field; a sentence of the whole has the name "title"."""

    design: Design | None
    problems: Mapping[str, str] = field(default_factory=dict)


def texts_of(design: Design) -> dict[str, Any]:
    """A design as the page's fields."""
    aim = design.aim
    return {
        "title": design.title, "hour": _figure(design.hour_w), "seed": str(design.seed), "claim": _figure(aim.claim_pct),
        "reference-claim": _figure(aim.reference_claim_pct), "point": aim.point or NONE,
        "reference-point": aim.reference_point or NONE,
        "loss-low": _figure(aim.loss_pct[0]), "loss-high": _figure(aim.loss_pct[1]), "assumed": ",".join(aim.assumed),
        "parts": [
            {"name": part.name, "repeats": str(part.repeats), "order": part.order, "steps": [step_texts(s) for s in part.steps]}
            for part in design.parts
        ],
    }  # fmt: skip


def step_texts(step: Exercise) -> dict[str, str]:
    """One step as its row's fields."""
    share = step.hour_share is not None
    target = _figure(100 * step.hour_share if share else step.target_w)
    return {
        "name": step.name, "exercise": step.exercise, "length": clock_text(step.duration_s), "target": target,
        "unit": SHARE if share else WATTS, "cadence": _figure(step.cadence_rpm), "position": step.position, "kept": step.kept_by,
    }  # fmt: skip


def plain_texts(sent: Any) -> dict[str, Any]:
    """A draft as a browser held it, with nothing in it but the texts that the page has fields for."""
    tree = sent if isinstance(sent, Mapping) else {}
    parts = [
        {**_texts(part, PART_FIELDS), "steps": [_texts(step, STEP_FIELDS) for step in _list(part, "steps", designing.MAX_STEPS)]}
        for part in _list(tree, "parts", designing.MAX_PARTS)
        if isinstance(part, Mapping)
    ]
    return {**_texts(tree, TOP_FIELDS), "parts": parts}


def read_draft(sent: Any) -> ReadDraft:
    """What stands on the page as a design; every field that cannot be read has a sentence of its own."""
    tree = sent if isinstance(sent, Mapping) else {}
    problems: dict[str, str] = {}
    design = _design(tree, problems)
    if problems:
        return ReadDraft(design=None, problems=problems)
    try:
        return ReadDraft(design=design_from_dict(design))
    except BadSetup as problem:
        return ReadDraft(design=None, problems={"hour" if "one-hour power" in str(problem) else "title": str(problem)})


def _design(tree: Mapping[str, Any], problems: dict[str, str]) -> dict[str, Any]:
    row = _Row(tree, "", problems)
    parts = _list(tree, "parts", designing.MAX_PARTS)
    if not parts:
        problems["title"] = "The plan has no parts yet; add one below, or start from the default plan."
    made = [_part(part, f"parts.{i}.", problems) for i, part in enumerate(parts)]
    shares = any(step["hour_share"] is not None for part in made for step in part["steps"])
    hour_w = row.number("hour", *designing.HOUR_W, "watts")
    if shares and hour_w is None and "hour" not in problems:
        problems["hour"] = "State your one-hour power: some targets are a share of it."
    loss = [row.number(name, 0.0, MAX_LOSS_PCT, "percent") for name in ("loss-low", "loss-high")]
    if None not in loss and loss[0] > loss[1]:
        problems["loss-high"] = f"The loss must not end below where it begins; got {loss[0]:g} to {loss[1]:g} %."
    aim = {"claim_pct": row.number("claim", 0.0, MAX_CLAIM_PCT, "percent"),
           "reference_claim_pct": row.number("reference-claim", 0.0, MAX_CLAIM_PCT, "percent"),
           "point": row.text("point") or None, "reference_point": row.text("reference-point") or None,
           "assumed": [name for name in row.text("assumed").split(",") if name in designing.AIM_PARTS]}  # fmt: skip
    if None not in loss:
        aim["loss_pct"] = loss
    return {
        "title": row.needed("title", "the plan a title"), "parts": made, "hour_w": hour_w,
        "seed": row.whole("seed", 0, designing.MAX_SEED), "aim": aim,
    }  # fmt: skip


def _part(sent: Any, where: str, problems: dict[str, str]) -> dict[str, Any]:
    row = _Row(sent, where, problems)
    steps = _list(row.tree, "steps", designing.MAX_STEPS)
    if not steps:
        problems[f"{where}name"] = "This part has no steps; add one, or remove the part."
    return {
        "name": row.needed("name", "the part a name"), "repeats": row.whole("repeats", 1, designing.MAX_REPEATS),
        "order": row.text("order") or designing.ORDERS[0],
        "steps": [_step(s, f"{where}steps.{j}.", problems) for j, s in enumerate(steps)],
    }  # fmt: skip


def _step(sent: Any, where: str, problems: dict[str, str]) -> dict[str, Any]:
    row = _Row(sent, where, problems)
    exercise, share = row.text("exercise") or "hold", row.text("unit") == SHARE
    most = 100 * designing.HOUR_SHARE[1] if share else designing.TARGET_W[1]
    target = row.number("target", 0.0, most, "percent of the one-hour power" if share else "watts")
    duration_s = row.length("length")
    if exercise == "sync" and duration_s is not None and duration_s != PATTERN.size:
        row.complain("length", f"The sync pattern lasts {clock_text(PATTERN.size)}; got {clock_text(duration_s)}.")
    return {
        "name": row.needed("name", "the step a name"), "duration_s": duration_s, "exercise": exercise,
        "target_w": None if share else target, "hour_share": target / 100 if share and target is not None else None,
        "cadence_rpm": row.number("cadence", *designing.CADENCE_RPM, "rpm"), "position": row.text("position") or "any",
        "kept_by": row.text("kept") or "rider",
    }  # fmt: skip


class _Row:
    """The texts of one row; what cannot be read is complained of under its name."""

    def __init__(self, sent: Any, where: str, problems: dict[str, str]) -> None:
        self.tree = sent if isinstance(sent, Mapping) else {}
        self._where, self._problems = where, problems

    def complain(self, name: str, sentence: str) -> None:
        self._problems.setdefault(self._where + name, sentence)

    def text(self, name: str) -> str:
        value = self.tree.get(name)
        return value.strip() if isinstance(value, str) else ""

    def needed(self, name: str, what: str) -> str:
        text = self.text(name)
        if not 0 < len(text) <= designing.MAX_TEXT:
            self.complain(name, f"Give {what}, of at most {designing.MAX_TEXT} characters; got {text[:40]!r}.")
        return text

    def number(self, name: str, low: float, high: float, unit: str) -> float | None:
        text = self.text(name)
        if not text:
            return None
        value = _as(float, text.replace(",", "."))
        if value is None or not math.isfinite(value) or not low <= value <= high:
            self.complain(name, f"Give a number from {low:g} to {high:g} {unit}; got {text[:40]!r}.")
            return None
        return value

    def whole(self, name: str, low: int, high: int) -> int:
        text = self.text(name)
        value = _as(int, text) if text else low
        if value is None or not low <= value <= high:
            self.complain(name, f"Give a whole number from {low} to {high}; got {text[:40]!r}.")
            return low
        return value

    def length(self, name: str) -> float | None:
        """`3:00`, `1:02:03`, or plain seconds."""
        text = self.text(name)
        clock = _CLOCK.fullmatch(text)
        if clock:
            hours, minutes, seconds = (int(part or 0) for part in clock.groups())
            value: float | None = float(3600 * hours + 60 * minutes + seconds)
        else:
            value = _as(float, text.replace(",", "."))
        if value is None or not designing.DURATION_S[0] <= value <= designing.DURATION_S[1]:
            self.complain(name, f"Give minutes and seconds as 3:00, or seconds, {LENGTHS}; got {text[:40]!r}.")
            return None
        return float(round(value))


def _as(kind: Callable[[str], Any], text: str) -> Any:
    try:
        return kind(text)
    except ValueError:
        return None


def _texts(sent: Any, names: Sequence[str]) -> dict[str, str]:
    row = _Row(sent, "", {})
    return {name: row.text(name) for name in names}


def _list(tree: Mapping[str, Any], key: str, most: int) -> Sequence[Any]:
    """At most one more than allowed: `design_from_dict` then says that there are too many."""
    value = tree.get(key)
    return value[: most + 1] if isinstance(value, list) else []


def _figure(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"
