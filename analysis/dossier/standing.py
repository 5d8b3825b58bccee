"""How the device stands over all trials of its dossier: by kind and level, firmware by firmware, and what could change that.

Reads the trials' digests. The verdict is that of one trial, asked of the mean over trials: its interval against the allowance.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.allowance import allowance_between
from analysis.dossier.document import TrialEntry
from analysis.forecast import DEFAULT_NOISE, TrialsNeeded, trials_needed
from analysis.numerals import count
from analysis.pooling import MIN_FOR_PREDICTION, Left, Method, Pooled
from analysis.replicates import (
    AcrossTrials,
    FirmwareChange,
    TrialDelta,
    across_trials,
    deltas_of_trial,
    firmware_changes,
)
from analysis.setup import UPSTREAM_OF_CHAIN
from analysis.verdict import Unsettled, Verdict, signed, verdict_on

KIND_WORDS = {"steady": "held power", "transient": "surges and sprints", "free": "riding along", "all": "everything ridden"}
# A claim of this size is what makers state most; what it takes to settle it is always said. Common practice, no source.
USUAL_CLAIM_PCT = 1.0


@dataclass(frozen=True, kw_only=True)
class Standing:
    """One kind (or level) over the trials, its allowance and verdict."""

    across: AcrossTrials
    allowance_pct: tuple[float, float]
    verdict: Verdict


@dataclass(frozen=True, kw_only=True)
class Stand:
    """All of it: standings by kind and level over all trials and per firmware (oldest first), and what to say of them.

    Where there were several firmwares, the sentences speak of the last one: it is what a reader would ride.
    shown : the kind that the headline speaks of, over all trials and per firmware, for the picture of the trials.
    """

    standings: tuple[Standing, ...]
    by_firmware: tuple[tuple[str, tuple[Standing, ...]], ...]
    firmware: tuple[FirmwareChange, ...]
    shown: Standing | None
    shown_by_firmware: tuple[tuple[str, Standing], ...]
    headline: str
    how_sure: str
    to_settle: tuple[str, ...]


def stand_of(trials: Sequence[TrialEntry], *, method: Method = "REML") -> Stand:
    """How the device stands; with no trial, that nothing is known. Trials count in the order of their day."""
    ordered = sorted(trials, key=lambda t: t.day or t.digest["start_utc"] or "")
    known = list(dict.fromkeys(t.digest["firmware"] for t in ordered if t.digest["firmware"]))
    per = {f: [t for t in ordered if t.digest["firmware"] == f] for f in known} if len(known) > 1 else {}
    last = per[known[-1]] if per else ordered
    standings = _standings(ordered, method)
    by_firmware = tuple((firmware, _standings(own, method)) for firmware, own in per.items())
    spoken = _first(by_firmware[-1][1] if per else standings)
    kind = "steady" if spoken is None else spoken.across.kind
    held = [d for d in trial_deltas(ordered) if d.level_w is None and d.kind == kind]
    return Stand(
        standings=standings,
        by_firmware=by_firmware,
        firmware=firmware_changes(held),
        shown=_whole(standings, kind),
        shown_by_firmware=tuple((name, one) for name, own in by_firmware if (one := _whole(own, kind)) is not None),
        headline=(f"Firmware {known[-1]}: " if per else "") + _headline(spoken, len(last)),
        how_sure=_how_sure(spoken, last),
        to_settle=_to_settle(spoken, last, f" with firmware {known[-1]}" if per else ""),
    )


def _standings(trials: Sequence[TrialEntry], method: Method) -> tuple[Standing, ...]:
    bands = {name: _bands(t.digest) for name, t in zip(_names(trials), trials, strict=True)}
    return tuple(_standing(a, bands) for a in across_trials(trial_deltas(trials), method=method))


def _whole(standings: Sequence[Standing], kind: str) -> Standing | None:
    return next((s for s in standings if s.across.level_w is None and s.across.kind == kind), None)


def _first(standings: Sequence[Standing]) -> Standing | None:
    """What the headline speaks of: held power, else everything ridden."""
    return _whole(standings, "steady") or _whole(standings, "all")


def needed_for(standing: Standing, bounds_pct: tuple[float, float]) -> TrialsNeeded | None:
    """Trials until the mean is settled against these bounds, with the spread between trials seen so far.

    None where there is none, or where they disagree in sign and no mean describes them.
    """
    seen, pooled = standing.across.trials, standing.across.pooled
    if not seen or standing.across.opposed is not None:
        return None
    if pooled is not None and (word := _word(pooled, bounds_pct)) != "unsettled":
        what = f"{word} {signed(bounds_pct[0])} to {signed(bounds_pct[1])} %"
        return TrialsNeeded(in_all=pooled.n, more=0, sentence=f"The {pooled.n} trials so far settle that it is {what}.")
    own = sum(d.se_pct**2 for d in seen) / len(seen)
    between = pooled.tau2 if pooled is not None and pooled.n >= MIN_FOR_PREDICTION else DEFAULT_NOISE.trial_pct**2
    mean = pooled.mean if pooled is not None else seen[0].delta_pct
    return trials_needed(mean, math.sqrt(between + own), len(seen), bounds_pct)


@dataclass(frozen=True, kw_only=True)
class Moved:
    """What changed in one kind of one trial when it was looked at again; versions are those of the analyses."""

    trial: str
    versions: tuple[str, str]
    kind: str
    before_pct: float | None
    after_pct: float | None
    before: str
    after: str


def moved_verdicts(name: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[Moved, ...]:
    """Kinds whose verdict, or delta by 0.05 points and more, differs between two digests of one trial."""
    was, now = ({s["kind"]: s for s in digest["summary"]} for digest in (old, new))
    found = []
    for kind in dict.fromkeys([*was, *now]):
        a, b = was.get(kind, {}), now.get(kind, {})
        before, after = a.get("delta_pct"), b.get("delta_pct")
        same = before == after or (before is not None and after is not None and abs(after - before) < 0.05)
        if a.get("verdict") != b.get("verdict") or not same:
            words = [x.get("verdict") or "not there" for x in (a, b)]
            versions = str(old.get("version") or ""), str(new.get("version") or "")
            moved = {"before_pct": before, "after_pct": after, "before": words[0], "after": words[1]}
            found.append(Moved(trial=name, versions=versions, kind=kind, **moved))
    return tuple(found)


def _standing(across: AcrossTrials, bands: Mapping[str, Mapping[Any, tuple[float, float]]]) -> Standing:
    """The widest of the trials' allowances: a device is not charged with what one trial's claims and chain could explain."""
    key = across.kind if across.level_w is None else None
    own = [bands[d.trial].get(key) or bands[d.trial][None] for d in across.trials]
    allowance = min(b[0] for b in own), max(b[1] for b in own)
    pooled = across.pooled
    if across.opposed is not None:
        split = Unsettled("The trials disagree in sign; a mean describes none of them.")
        return Standing(across=across, allowance_pct=allowance, verdict=split)
    if pooled is None:
        said = verdict_on(across.trials[0].delta_pct, across.trials[0].ci_pct, allowance, enough=True)
        alone = Unsettled(f"One trial only ({said.word} by itself); how far another day would differ is unknown.")
        return Standing(across=across, allowance_pct=allowance, verdict=alone)
    return Standing(across=across, allowance_pct=allowance, verdict=verdict_on(pooled.mean, pooled.ci, allowance, enough=True))


def _bands(digest: Mapping[str, Any]) -> dict[Any, tuple[float, float]]:
    """Allowance by kind; under None one that holds for any."""
    bands = {s["kind"]: tuple(s["allowance_pct"]) for s in digest["summary"] if s["allowance_pct"]}
    return {**bands, None: next(iter(bands.values()), (-100.0, 100.0))}


def _headline(standing: Standing | None, trials: int) -> str:
    if standing is None and trials:
        return f"{count(trials, 'trial')} without a delta that could be stated, so nothing is known of how the device reads."
    if standing is None:
        return "No trial is in this dossier yet, so nothing is known of how the device reads."
    across, (low, high) = standing.across, standing.allowance_pct
    where, band = KIND_WORDS[across.kind], f"claims and drivetrain loss explain {signed(low)} to {signed(high)} %"
    if across.opposed is not None:
        return across.sentence
    if across.pooled is None:
        return f"One trial: {signed(across.trials[0].delta_pct)} % over {where}; {band}. It settles nothing about another day."
    first, last = across.pooled.ci
    said = f"{signed(across.pooled.mean)} % over {where} in {across.pooled.n} trials ({signed(first)} to {signed(last)})"
    return f"{said}; {band}: {standing.verdict.word}."


def _how_sure(standing: Standing | None, trials: Sequence[TrialEntry]) -> str:
    few = "a verdict on a device rests on at least three, on different days."
    if standing is None or standing.across.pooled is None:
        return f"{count(len(trials), 'trial')}: {few}"
    pooled = standing.across.pooled
    if pooled.prediction is None:
        return f"{pooled.n} trials cannot tell by how much days differ: {few}"
    most, (low, high) = math.sqrt(pooled.tau2_ci[1]), pooled.prediction
    said = (
        f"From day to day the delta moves by {math.sqrt(pooled.tau2):.1f} points beyond the trials' own errors (95 %: up to "
        f"{most:.1f}; I² {100 * pooled.i2_frac:.0f} %); another day's true delta is expected between {signed(low)} and "
        f"{signed(high)} %."
    )
    sides = {(t.digest.get("reference_point") or "") in UPSTREAM_OF_CHAIN for t in trials if t.digest.get("reference_point")}
    if len(sides) > 1:
        said += " The references lie on both sides of the chain, so drivetrain loss is part of what differs between trials."
    return said


def _to_settle(standing: Standing | None, trials: Sequence[TrialEntry], which: str) -> tuple[str, ...]:
    """What would change the verdict, or settle it; most telling first. which : of which trials, where not of all."""
    if standing is None:
        return ("A first trial: ride a plan with at least three devices and add it here.",)
    said = []
    needed = needed_for(standing, standing.allowance_pct)
    if needed is not None and needed.more != 0:
        said.append(needed.sentence)
    loss_pct, bounds_pct = _usual_claim(trials)
    usual = needed_for(standing, bounds_pct)
    if usual is not None:
        rest = usual.sentence[0].lower() + usual.sentence[1:]
        chain = f" and {loss_pct:.1f} % drivetrain loss" if loss_pct else ""
        loss = ", drivetrain loss left aside" if loss_pct is None else chain
        said.append(f"Against a claim of ±{USUAL_CLAIM_PCT:g} % alone, with a reference that reads true{loss}: {rest}")
    if standing.across.opposed is None:
        hinge = [name for name, rest in standing.across.without if _word(rest, standing.allowance_pct) != standing.verdict.word]
        if hinge:
            it = "it" if len(hinge) == 1 else "any one of them"
            said.append(f"The verdict hangs on {', '.join(hinge)}: without {it}, it would be another.")
    said += _one_of_each(trials, which)
    if all(t.digest["devices"] < 3 for t in trials):
        said.append("With two devices only, a difference may belong to the reference: ride a third.")
    return tuple(said)


def _one_of_each(trials: Sequence[TrialEntry], which: str) -> list[str]:
    """What all trials have in common, or do not say."""
    named = {(t.rider, t.unit, t.rig) for t in trials}
    if len(named) > 1:
        return []
    if not any(next(iter(named))):
        return [f"No trial{which} names its rider, unit or rig, so how far another would read differently cannot be judged."]
    every = f"Every trial{which}" if len(trials) > 1 else f"The trial{which}"
    return [f"{every} is of one rider, one unit and one rig: another of any of them may read differently."]


def _usual_claim(trials: Sequence[TrialEntry]) -> tuple[float | None, tuple[float, float]]:
    """The loss taken at its middle, None where trials differ in it or a point is not stated; what the usual claim allows."""
    said = [(t.digest.get("point"), t.digest.get("reference_point"), t.digest.get("loss_pct") or (None, None)) for t in trials]
    asked = {(point, reference_point, *loss) for point, reference_point, loss in said}
    point, reference_point, low, high = asked.pop() if len(asked) == 1 else (None,) * 4
    if None in (point, reference_point, low, high):
        return None, (-USUAL_CLAIM_PCT, USUAL_CLAIM_PCT)
    middle = (low + high) / 2 if (point in UPSTREAM_OF_CHAIN) != (reference_point in UPSTREAM_OF_CHAIN) else 0.0
    bounds = allowance_between(
        point, reference_point, claim_pct=USUAL_CLAIM_PCT, reference_claim_pct=0.0, loss_pct=(middle, middle)
    ).worst_pct
    return middle, bounds


def _word(pooled: Pooled | Left, allowance: tuple[float, float]) -> str:
    return verdict_on(pooled.mean, pooled.ci, allowance, enough=True).word


def trial_deltas(trials: Sequence[TrialEntry]) -> tuple[TrialDelta, ...]:
    """Every trial's own deltas, for pictures and tables."""
    named = zip(_names(trials), trials, strict=True)
    return tuple(d for name, t in named for d in deltas_of_trial(t.digest, trial=name))


def _names(trials: Sequence[TrialEntry]) -> list[str]:
    """What each trial is called; of those with one name each also by its day, or its number where that is the same, too."""
    often, dated = Counter(t.name for t in trials), Counter((t.name, t.day) for t in trials)
    marks = [t.day if t.day and dated[t.name, t.day] == 1 else str(i) for i, t in enumerate(trials, start=1)]
    return [t.name if often[t.name] == 1 else f"{t.name} ({mark})" for t, mark in zip(trials, marks, strict=True)]

