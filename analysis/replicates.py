"""Several trials of one device: trials are the repeats, never the blocks of one trial.

Reads digests of results (no recordings), gives pooled deltas in percent of the reference, by kind and by level,
and the change from one firmware to the next.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import special

from analysis.levels import grouped
from analysis.numerals import count, signed
from analysis.pooling import MIN_ESTIMATES, Left, Method, Pooled, pool, pool_without_each

# Fewer days say next to nothing of how far days differ. Common practice, no source.
MIN_DAYS = 3
# A trial's own error is never taken for smaller than this: it holds a second's noise, not what a day changes. [points]
LEAST_SE_PCT = 0.02
ALPHA = 0.05
# Degrees of freedom of a trial with a single block, whose seconds tell its error: the least that `deltas` gives them.
ONE_BLOCK_DOF = 2


@dataclass(frozen=True, kw_only=True)
class TrialDelta:
    """What one trial says of the device: delta in percent of the reference, its standard error and 95 % interval over blocks.

    kind : steady, transient, free or all; level_w : the level, for held blocks of one level only.
    """

    trial: str
    kind: str
    level_w: float | None
    delta_pct: float
    se_pct: float
    ci_pct: tuple[float, float]
    blocks: int
    firmware: str | None = None


@dataclass(frozen=True, kw_only=True)
class AcrossTrials:
    """One kind (or level) over all trials that hold it.

    opposed : trials that lie below and above zero for sure, all of them looked at together (see `_opposed`); where there are
    some, `sentence` says so first and the mean is no summary. without : (trial left out, what the others say), empty under
    three trials.
    """

    kind: str
    level_w: float | None
    trials: tuple[TrialDelta, ...]
    pooled: Pooled | None
    without: tuple[tuple[str, Left], ...]
    opposed: tuple[tuple[str, ...], tuple[str, ...]] | None
    sentence: str


def deltas_of_trial(digest: Mapping[str, Any], *, trial: str) -> tuple[TrialDelta, ...]:
    """What a trial's digest (dossier.digest) says of the device, by kind and by level; `trial` names it."""
    rows = [(d["kind"], None, d) for d in digest["summary"]] + [("steady", d["level_w"], d) for d in digest["levels"]]
    return tuple(
        TrialDelta(
            trial=trial, kind=kind, level_w=level, delta_pct=d["delta_pct"], se_pct=_se(d), ci_pct=tuple(d["delta_pct_ci"]),
            blocks=d["blocks"], firmware=digest["firmware"],
        )
        for kind, level, d in rows
        if d["delta_pct"] is not None and d["delta_pct_ci"] is not None
    )  # fmt: skip


def across_trials(deltas: Sequence[TrialDelta], *, method: Method = "REML") -> tuple[AcrossTrials, ...]:
    """Every kind, then every level of held power, over the trials; one trial stands alone and is not pooled."""
    kinds = ("steady", "transient", "free", "all")
    whole = [[d for d in deltas if d.kind == kind and d.level_w is None] for kind in kinds]
    levels = [d for d in deltas if d.level_w is not None]
    joined = grouped([d.level_w for d in levels], owners=[d.trial for d in levels])
    groups = [g for g in whole if g] + [[levels[i] for i in group] for group in joined]
    return tuple(_across(group, method) for group in groups)


def by_method(across: AcrossTrials) -> tuple[Pooled, ...]:
    """The same trials pooled by each method; a mean that hangs on the method rests on too few trials. Empty under two."""
    return tuple(_pooled(across.trials, m) for m in ("REML", "PM", "DL")) if len(across.trials) >= MIN_ESTIMATES else ()


def _across(group: Sequence[TrialDelta], method: Method) -> AcrossTrials:
    level = None if group[0].level_w is None else float(np.mean([d.level_w for d in group]))
    pooled = _pooled(group, method) if len(group) >= MIN_ESTIMATES else None
    without: tuple[tuple[str, Left], ...] = ()
    if len(group) > MIN_ESTIMATES:
        left = pool_without_each([d.delta_pct for d in group], [d.se_pct for d in group], method=method)
        without = tuple(zip((d.trial for d in group), left, strict=True))
    opposed = _opposed(group)
    return AcrossTrials(
        kind=group[0].kind, level_w=level, trials=tuple(group), pooled=pooled, without=without, opposed=opposed,
        sentence=_sentence(group, pooled, opposed),
    )  # fmt: skip


def _pooled(group: Sequence[TrialDelta], method: Method) -> Pooled:
    return pool([d.delta_pct for d in group], [d.se_pct for d in group], method=method)


def _opposed(group: Sequence[TrialDelta]) -> tuple[tuple[str, ...], tuple[str, ...]] | None:
    """Trials whose intervals lie below and above zero, each at 1 - 0.05/n (Bonferroni).

    With their own 95 % intervals, of forty trials alike one would lie below zero and one above by chance.
    """
    dofs = (d.blocks - 1 if d.blocks > 1 else ONE_BLOCK_DOF for d in group)
    sure = [d for d, dof in zip(group, dofs, strict=True) if abs(d.delta_pct) > _t(dof, ALPHA / len(group)) * d.se_pct]
    below, above = tuple(d.trial for d in sure if d.delta_pct < 0), tuple(d.trial for d in sure if d.delta_pct > 0)
    return (below, above) if below and above else None


def _sentence(group: Sequence[TrialDelta], pooled: Pooled | None, opposed: Any) -> str:
    if pooled is None:
        return f"One trial ({group[0].trial}): {signed(group[0].delta_pct)} %; how far another day would differ is unknown."
    said = f"{pooled.n} trials: {signed(pooled.mean)} % ({signed(pooled.ci[0])} to {signed(pooled.ci[1])})"
    if pooled.prediction is not None:
        low, high = pooled.prediction
        said += f"; another day's true delta is expected between {signed(low)} and {signed(high)} %"
    if opposed is None:
        return said + "."
    below, above = (", ".join(names) for names in opposed)
    return f"The trials disagree in sign: low in {below}, high in {above}. A mean of them describes none. {said}."


def _se(summary: Mapping[str, Any]) -> float:
    """The trial's standard error; digests before analysis version 10 hold only the interval (Student's t, blocks less one)."""
    stated = summary.get("delta_pct_se")
    if stated is None:
        (low, high), dof = summary["delta_pct_ci"], summary["blocks"] - 1
        stated = (high - low) / 2 / _t(dof if dof > 0 else math.inf)
    return max(stated, LEAST_SE_PCT)


def _t(dof: float, alpha: float = ALPHA) -> float:
    return float(special.stdtrit(dof, 1 - alpha / 2))


@dataclass(frozen=True, kw_only=True)
class FirmwareChange:
    """Delta after a firmware less that before it, in points of percent; n trials on either side.

    ci_pct holds for all changes of the history together at 95 % (Bonferroni): of ten updates that change nothing, four in ten
    histories would else show a change.
    """

    before: str
    after: str
    n_before: int
    n_after: int
    change_pct: float
    ci_pct: tuple[float, float]
    sentence: str


def firmware_changes(deltas: Sequence[TrialDelta]) -> tuple[FirmwareChange, ...]:
    """From each firmware to the next, in the order in which they come; give deltas of one kind, oldest trial first.

    Trials of one firmware are its repeats, all firmwares share one spread between trials: random effects with the firmware
    as a factor, REML, interval after Knapp and Hartung (Stat Med 2003;22:2693-2710) degrees of freedom: trials less firmwares.
    Nothing comes back where no firmware was ridden twice: the spread between trials is then unknown.
    """
    known = [d for d in deltas if d.firmware]
    order = list(dict.fromkeys(d.firmware for d in known))
    dof = len(known) - len(order)
    if len(order) < 2 or dof < 1:
        return ()
    y, v = np.array([d.delta_pct for d in known]), np.array([d.se_pct for d in known]) ** 2
    member = np.array([[d.firmware == f for f in order] for d in known], float)
    tau2 = _shared_tau2(y, v, member)
    w = 1 / (v + tau2)
    total = w @ member
    mean = (w * y) @ member / total
    scatter = float(w @ (y - member @ mean) ** 2) / dof
    error = np.sqrt(max(scatter, 1.0) / total)  # never surer than the trials' own errors allow
    changes, t = len(order) - 1, _t(dof, ALPHA / (len(order) - 1))
    found = []
    for i, (before, after) in enumerate(itertools.pairwise(order)):
        change, half = float(mean[i + 1] - mean[i]), t * math.hypot(error[i], error[i + 1])
        n = [int(member[:, j].sum()) for j in (i, i + 1)]
        ci = (change - half, change + half)
        found.append(
            FirmwareChange(before=before, after=after, n_before=n[0], n_after=n[1], change_pct=change, ci_pct=ci,
                           sentence=_change_sentence(before, after, n, change, ci, changes))
        )  # fmt: skip
    return tuple(found)


def _change_sentence(before: str, after: str, n: list[int], change: float, ci: tuple[float, float], changes: int) -> str:
    interval = f"{signed(ci[0])} to {signed(ci[1])}" + (f", 95 % for all {changes} changes together" if changes > 1 else "")
    said = f"From firmware {before} ({count(n[0], 'trial')}) to {after} ({n[1]}): {signed(change)} points ({interval})"
    return said + ("." if ci[0] > 0 or ci[1] < 0 else "; this may be no change at all.")


def _shared_tau2(y: np.ndarray, v: np.ndarray, member: np.ndarray) -> float:
    """REML spread between trials around group means, by Fisher scoring (Viechtbauer 2005; the factor through its projection)."""
    tau2 = max(0.0, float(np.var(y - member @ ((y @ member) / member.sum(axis=0)))) - float(v.mean()))
    for _ in range(200):
        w = 1 / (v + tau2)
        wx = member * w[:, None]
        p = np.diag(w) - wx @ np.linalg.inv(member.T @ wx) @ wx.T
        step = float(y @ p @ p @ y - np.trace(p)) / float(np.trace(p @ p))
        new = max(0.0, tau2 + step)
        if abs(new - tau2) <= 1e-12 * (1e-12 + new):
            return new
        tau2 = new
    return tau2


def day_to_day_pct(reports: Sequence[Mapping[str, Any]], label: str) -> tuple[float, int] | None:
    """How far days differ beyond each trial's own error, and of how many trials; None under MIN_DAYS of one firmware.

    reports : results as their JSON says them. Held power; REML. [points of percent]
    """
    groups: dict[Any, list[TrialDelta]] = {}
    for n, report in enumerate(reports):
        device = next((r for r in report["recordings"] if r["label"] == label), {})
        held = [s for s in report["summary"] if s["label"] == label and s["kind"] == "steady"]
        digest = {"summary": held, "levels": [], "firmware": device.get("firmware")}
        groups.setdefault((report["reference"], device.get("firmware")), []).extend(deltas_of_trial(digest, trial=str(n)))
    most = max(groups.values(), key=len, default=[])
    if len(most) < MIN_DAYS:
        return None
    return math.sqrt(_pooled(most, "REML").tau2), len(most)
