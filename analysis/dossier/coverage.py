"""Which properties and conditions a dossier's trials touched, and what is missing.

The list is that of the scoping review of 74 validation studies, doi 10.3390/s22010386 (open access; list seen in its abstract):
five properties, nine conditions. How much counts as touched is ours; common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from analysis.dossier.document import TrialEntry
from analysis.numerals import count

State = Literal["touched", "partly", "missing"]
# Ranges from which on a condition counts as varied.
POWER_SPAN_W, CADENCE_SPAN_RPM, TORQUE_SPAN_NM, HEAT_SPAN_DEGC = 100.0, 25.0, 10.0, 8.0
ENOUGH_SPRINTS = 4
PROPERTIES = ("trueness", "repeatability", "reproducibility", "sensitivity", "robustness")
CONDITIONS = ("power range", "sprint", "cadence", "torque", "position", "rider", "temperature", "vibration", "field")


@dataclass(frozen=True, kw_only=True)
class Touched:
    """One property or condition: how far it was touched, in what, and what would touch it."""

    name: str
    state: State
    why: str
    missing: str


def coverage_of(trials: Sequence[TrialEntry]) -> tuple[Touched, ...]:
    """The five properties, then the nine conditions."""
    conditions = _conditions(trials)
    return (*_properties(trials, conditions), *conditions)


def _properties(trials: Sequence[TrialEntry], conditions: Sequence[Touched]) -> list[Touched]:
    three = sum(t.digest["devices"] >= 3 for t in trials)
    repeated = sum(t.digest["ridden"]["repeated_levels"] for t in trials)
    levels = max((t.digest["ridden"]["levels"] for t in trials), default=0)
    others = {named for t in trials if any(named := (t.rider, t.unit, t.rig))}
    hard = [c.name for c in conditions if c.name in ("temperature", "vibration", "field", "position") and c.state == "touched"]
    return [
        _touched("trueness", bool(three), bool(trials), f"{_n(trials)} against a reference, {three} beside a third device",
                 "A third device, or a known mass, says whose a difference is."),
        _touched("repeatability", repeated >= 3, repeated > 0, f"{count(repeated, 'level')} held more than once in one ride",
                 "Hold each level at least twice in one ride."),
        _touched("reproducibility", len(others) >= 3, len(trials) >= 2,
                 f"{_n(trials)}, {count(len(others), 'combination')} of rider, unit and rig named",
                 "Repeat on other days, with another rider, unit or bike."),
        _touched("sensitivity", levels >= 4, levels >= 2, f"up to {count(levels, 'level')} in one ride",
                 "Ride levels that lie close to each other, up and down."),
        _touched("robustness", len(hard) >= 2, bool(hard), f"varied: {', '.join(hard) or 'nothing'}",
                 "Vary temperature, position and road surface."),
    ]  # fmt: skip


def _conditions(trials: Sequence[TrialEntry]) -> list[Touched]:
    sprints = sum(t.digest["ridden"]["sprints"] for t in trials)
    riders = {t.rider for t in trials if t.rider}
    positions = {p for t in trials for p in t.digest["ridden"]["positions"]}
    outdoors = sum(t.where == "outdoors" for t in trials)
    declared = {v for t in trials for v in t.varied}
    return [
        _span("power range", _spans(trials, "power_w"), POWER_SPAN_W, "W", "Hold levels from easy to hard."),
        _touched("sprint", sprints >= ENOUGH_SPRINTS, sprints > 0,
                 count(sprints, "surge or sprint", "surges and sprints"), "Ride four sprints or more."),
        _span("cadence", _spans(trials, "cadence_rpm"), CADENCE_SPAN_RPM, "rpm", "Hold one level at four cadences."),
        _span("torque", _spans(trials, "torque_nm"), TORQUE_SPAN_NM, "N m", "Hold one power at low and at high cadence."),
        _touched("position", len(positions) == 2 or "position" in declared, bool(positions),
                 ", ".join(sorted(positions)) or "not marked",
                 "Hold one level seated and standing, and name the blocks so."),
        _touched("rider", len(riders) >= 2, len(riders) == 1, count(len(riders), "rider") if riders else "no rider named",
                 "Have a second rider ride the plan."),
        _span("temperature", _spans(trials, "temperature_degc"), HEAT_SPAN_DEGC, "°C",
              "Ride cold and warm, without and with a new zero.", declared="temperature" in declared),
        _touched("vibration", "vibration" in declared, False,
                 "declared by the reviewer" if "vibration" in declared else "not varied", "Ride a rough road, and say so."),
        _touched("field", bool(outdoors), False, f"{outdoors} of {_n(trials)} outdoors", "Ride outdoors, away from traffic."),
    ]  # fmt: skip


def _touched(name: str, whole: bool, partly: bool, why: str, missing: str) -> Touched:
    state: State = "touched" if whole else "partly" if partly else "missing"
    return Touched(name=name, state=state, why=why, missing="" if whole else missing)


def _spans(trials: Sequence[TrialEntry], key: str) -> list[list[float]]:
    return [r for t in trials if (r := t.digest["ridden"][key]) is not None]


def _span(name: str, spans: Sequence[Any], least: float, unit: str, missing: str, *, declared: bool = False) -> Touched:
    """Over all trials together: a range may be put together from several days."""
    if not spans:
        return _touched(name, declared, False, "not recorded", missing)
    low, high = min(s[0] for s in spans), max(s[1] for s in spans)
    whole = declared or high - low >= least
    return _touched(name, whole, high > low, f"{low:.0f} to {high:.0f} {unit}", missing)


def _n(trials: Sequence[TrialEntry]) -> str:
    return count(len(trials), "trial")
