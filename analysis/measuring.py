"""Findings that rest on where and how a device measures: power gained on the way, one side doubled, what was set or declared."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.allowance import downstream_above
from analysis.evidence import Declared, Evidence, Finding, held_of
from analysis.judging import JudgedDelta
from analysis.kinetic import Stored
from analysis.setup import UPSTREAM_OF_CHAIN
from analysis.trial import Trial
from analysis.verdict import signed

# Below this a doubled side is lost in the share's own resolution, half a percent.
MIN_SIDE_EFFECT_PCT = 1.0


def gained_power(trial: Trial, seen: Evidence) -> list[Finding]:
    """The downstream device of the two reads more than claims allow: power cannot be gained on the way."""
    held, point, reference_point = held_of(seen), trial.recording(seen.label).point, trial.recordings[0].point
    if held is None or held.verdict != "outside" or held.delta_pct is None or point is None or reference_point is None:
        return []
    upstream, reference_upstream = point in UPSTREAM_OF_CHAIN, reference_point in UPSTREAM_OF_CHAIN
    gained = (not upstream and reference_upstream and held.delta_pct > held.allowance_pct[1]) or (
        upstream and not reference_upstream and held.delta_pct < held.allowance_pct[0]
    )
    if not gained:
        return []
    high, low = (seen.label, trial.reference) if not upstream else (trial.reference, seen.label)
    text = (
        f"{high}, after the chain, shows more than {low}, before it, by more than both claims allow; power cannot be "
        "gained on the way, so at least one of the two is wrong."
    )
    evidence = (
        _odds(trial, seen.label, held, high),
        *_stored(seen.stored),
        "Check first: a scale factor set in a head unit, a device that adds drivetrain loss back, one-sided doubling, "
        "zero offsets.",
    )
    return [
        Finding(
            code="gained-power",
            label=seen.label,
            size=held.delta_pct,
            unit="%",
            ci=held.delta_pct_ci,
            strength="clear",
            text=text,
            evidence=evidence,
        )
    ]


def _odds(trial: Trial, label: str, held: JudgedDelta, high: str) -> str:
    """How likely the order is, and how likely as much of it, were both devices as good as claimed."""
    device, reference = trial.recording(label), trial.recordings[0]
    ratio = 1 + (held.delta_pct or 0.0) / 100
    if high == label:
        up, down = reference, device
    else:
        up, down, ratio = device, reference, 1 / ratio
    claims = {"upstream_claim_pct": up.claim_pct, "downstream_claim_pct": down.claim_pct, "loss_pct": trial.loss_pct}
    at_all, as_much = downstream_above(**claims), downstream_above(**claims, ratio=ratio)
    return (
        f"Were both as good as claimed, {high} would read the higher of the two with a probability of {percent(at_all)}, and "
        f"higher by as much as here with {percent(as_much)}."
    )


def _stored(stored: Sequence[Stored]) -> tuple[str, ...]:
    """What stored energy can account for; the sprints only where speed was recorded."""
    if not stored:
        return ("No recording carries speed, so energy stored in wheel and flywheel is not taken into account.",)
    mass = stored[0].mass_kg
    held = max((abs(s.stored_w) for s in stored if s.kind == "steady"), default=0.0)
    quick = max((abs(s.stored_w) for s in stored if s.kind == "transient"), default=0.0)
    return (
        f"Energy stored in wheel and flywheel ({mass:g} kg assumed) accounts for at most {held:.1f} W while power is held and "
        f"{quick:.0f} W in the quick changes.",
    )


def percent(probability: float) -> str:
    """A probability in percent, with a bound where it is next to nothing."""
    return "under 0.1 %" if probability < 0.001 else f"{100 * probability:.1f} %"


def single_sided(trial: Trial, seen: Evidence, asserted: set[str]) -> list[Finding]:
    """A device declared to measure one side and double it: what the measured share makes of that."""
    sides = seen.declared.get(seen.label, Declared()).sides
    if sides not in ("left", "right") or "single-sided" in asserted:
        return []
    plain = f"{seen.label} measures the {sides} side only and doubles it"
    if seen.left_share is None:
        return [
            Finding(
                code="single-sided", label=seen.label, size=0.0, unit="%", ci=None, strength="likely",
                text=f"{plain}: each point by which the {sides} share departs from 50 % makes two points of error, and no "
                "recording of this trial tells the share.",
                evidence=("Declared in the set-up.",),
            )
        ]  # fmt: skip
    share, source = seen.left_share
    own = share if sides == "left" else 1 - share
    expected = 100 * (2 * own - 1)
    return [
        Finding(
            code="single-sided", label=seen.label, size=expected, unit="%", ci=None,
            strength="clear" if abs(expected) >= MIN_SIDE_EFFECT_PCT else "likely",
            text=f"{plain}: with a {sides} share of {100 * own:.1f} % measured by {source}, that makes {signed(expected)} % of "
            "its difference.",
            evidence=("Declared in the set-up; a left-only device reads 2 L − 1 off the total, L being the left share.",),
        )
    ]  # fmt: skip


def declared_facts(seen: Evidence, label: str, trial: Trial) -> list[str]:
    """What was set or declared and bears on a ratio: scale factor and crank length of either device, firmware."""
    said = []
    for one in (label, trial.reference):
        known = seen.declared.get(one, Declared())
        if known.power_scale_pct is not None and abs(known.power_scale_pct - 100) > 0.05:
            said.append(f"The file of {one} says that its power was scaled to {known.power_scale_pct:g} % in the recorder.")
        if known.crank_length_mm is not None:
            step = 100 * 2.5 / known.crank_length_mm
            said.append(
                f"The file of {one} says {known.crank_length_mm:g} mm of crank length; 2.5 mm set wrongly make {step:.1f} % on a "
                "device that measures force, none on one that measures torque."
            )
        if one == label and known.firmware:
            said.append(f"This holds for firmware {known.firmware}.")
    return said
