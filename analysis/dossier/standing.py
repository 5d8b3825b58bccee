"""How the device stands over all trials of its dossier: by kind and level, firmware by firmware, and what could change that.

Reads the trials' digests. The verdict is that of one trial, asked of the mean over trials: its interval against the allowance.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.dossier.document import TrialEntry
from analysis.forecast import DEFAULT_NOISE, TrialsNeeded, trials_needed
from analysis.pooling import Method
from analysis.replicates import (
    AcrossTrials,
    FirmwareChange,
    TrialDelta,
    across_trials,
    deltas_of_trial,
    firmware_changes,
)
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
    """

    standings: tuple[Standing, ...]
    by_firmware: tuple[tuple[str, tuple[Standing, ...]], ...]
    firmware: tuple[FirmwareChange, ...]
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
    spoken = _first(_standings(last, method) if per else standings)
    held = [d for d in trial_deltas(ordered) if d.level_w is None and spoken is not None and d.kind == spoken.across.kind]
    return Stand(
        standings=standings,
        by_firmware=tuple((firmware, _standings(own, method)) for firmware, own in per.items()),
        firmware=firmware_changes(held),
        headline=(f"Firmware {known[-1]}: " if per else "") + _headline(spoken),
        how_sure=_how_sure(spoken, len(last)),
        to_settle=_to_settle(spoken, last),
    )


def _standings(trials: Sequence[TrialEntry], method: Method) -> tuple[Standing, ...]:
    bands = {t.name: _bands(t.digest) for t in trials}
    return tuple(_standing(a, bands) for a in across_trials(trial_deltas(trials), method=method))


def _first(standings: Sequence[Standing]) -> Standing | None:
    """What the headline speaks of: held power, else everything ridden."""
    whole = {s.across.kind: s for s in standings if s.across.level_w is None}
    return whole.get("steady") or whole.get("all")


def needed_for(standing: Standing, bounds_pct: tuple[float, float]) -> TrialsNeeded | None:
    """Trials until the mean is settled against these bounds, with the spread between trials seen so far; None without any."""
    seen = standing.across.trials
    if not seen:
        return None
    pooled = standing.across.pooled
    own = sum(d.se_pct**2 for d in seen) / len(seen)
    between = pooled.tau2 if pooled is not None and pooled.n > 2 else DEFAULT_NOISE.trial_pct**2
    mean = pooled.mean if pooled is not None else seen[0].delta_pct
    return trials_needed(mean, math.sqrt(between + own), len(seen), bounds_pct)


@dataclass(frozen=True, kw_only=True)
class Moved:
    """What changed in one kind of one trial when it was analysed again."""

    trial: str
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
            found.append(Moved(trial=name, kind=kind, before_pct=before, after_pct=after, before=words[0], after=words[1]))
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


def _headline(standing: Standing | None) -> str:
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


def _how_sure(standing: Standing | None, trials: int) -> str:
    if standing is None or standing.across.pooled is None:
        return f"{trials} trial{'' if trials == 1 else 's'}: a verdict on a device rests on at least three, on different days."
    pooled = standing.across.pooled
    said = f"Trials differ by {math.sqrt(pooled.tau2):.1f} points beyond their own errors (I² {100 * pooled.i2_frac:.0f} %)"
    if pooled.prediction is not None:
        said += f"; another trial is expected between {signed(pooled.prediction[0])} and {signed(pooled.prediction[1])} %"
    return said + "."


def _to_settle(standing: Standing | None, trials: Sequence[TrialEntry]) -> tuple[str, ...]:
    """What would change the verdict, or settle it; most telling first."""
    if standing is None:
        return ("A first trial: ride a plan with at least three devices and add it here.",)
    said = []
    needed = needed_for(standing, standing.allowance_pct)
    if needed is not None and needed.more != 0:
        said.append(needed.sentence)
    usual = needed_for(standing, (-USUAL_CLAIM_PCT, USUAL_CLAIM_PCT))
    if usual is not None:
        rest = usual.sentence[0].lower() + usual.sentence[1:]
        said.append(f"Against a claim of ±{USUAL_CLAIM_PCT:g} % alone, without chain: {rest}")
    pooled = standing.across.pooled
    if pooled is not None:
        hinge = [name for name, rest in standing.across.without if _word(rest, standing.allowance_pct) != standing.verdict.word]
        if hinge:
            said.append(f"The verdict hangs on {', '.join(hinge)}: without it, it would be another.")
    if len({(t.rider, t.unit, t.rig) for t in trials}) < 2:
        said.append("Every trial is of one rider, one unit and one rig: another of any of them may read differently.")
    if all(t.digest["devices"] < 3 for t in trials):
        said.append("With two devices only, a difference may belong to the reference: ride a third.")
    return tuple(said)


def _word(pooled: Any, allowance: tuple[float, float]) -> str:
    return verdict_on(pooled.mean, pooled.ci, allowance, enough=True).word


def trial_deltas(trials: Sequence[TrialEntry]) -> tuple[TrialDelta, ...]:
    """Every trial's own deltas, for pictures and tables."""
    return tuple(d for t in trials for d in deltas_of_trial(t.digest, trial=t.name))
