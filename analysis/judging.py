"""A delta, its allowance and its verdict together, for any stretch of a trial."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from analysis.allowance import Allowance, allowance_between
from analysis.blocks import Block
from analysis.budget import en_score
from analysis.deltas import Delta, delta_over, delta_pooled
from analysis.errors import OutOfRange
from analysis.levels import levels_of
from analysis.pooling import Pooled, pool
from analysis.trial import Trial
from analysis.verdict import verdict_on

# With fewer pieces the quantile of Student's t alone makes an interval wider than its seconds do.
MIN_PIECES = 5
# How the reasons end for which there is no verdict on two recordings, whatever the stretch.
ONE_SENSOR = "one sensor's values; a device cannot be its own referee."
LOOSE_CLOCK = "is not settled, so other seconds may belong together; set it by hand."


@dataclass(frozen=True, kw_only=True)
class JudgedDelta(Delta):
    """A delta with its allowance and verdict; field names and units are those of the JSON's `deltas`.

    en : distance from the middle of the likely allowance over both expanded uncertainties; beyond 1 is worth a question.
    """

    enough: bool = True
    allowance_pct: tuple[float, float]
    likely_allowance_pct: tuple[float, float]
    verdict: str
    reason: str
    en: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """The fields as JSON has them; `blocks` is left to the summary, `enough` has gone into the verdict."""
        return {k: list(v) if isinstance(v, tuple) else v for k, v in vars(self).items() if k not in ("blocks", "enough")}


@dataclass(frozen=True, kw_only=True)
class LevelDelta:
    """One device over the held blocks of one level, which are the replicates; `level_w` is their mean level."""

    level_w: float
    from_w: float
    to_w: float
    block_ids: tuple[str, ...]
    judged: JudgedDelta


def allowance_of(trial: Trial, label: str, against: str | None = None) -> Allowance:
    """Allowance between any two of the trial's measuring points; against the reference where none is named."""
    device, reference = trial.recording(label), trial.recording(against or trial.reference)
    return allowance_between(
        device.point, reference.point, claim_pct=device.claim_pct, reference_claim_pct=reference.claim_pct,
        loss_pct=trial.loss_pct,
    )  # fmt: skip


def judge_stretch(trial: Trial, label: str, start_s: float, end_s: float, *, against: str | None = None) -> JudgedDelta:
    """One device over one stretch, against the reference or any other. Raises OutOfRange for an unknown label."""
    delta = delta_over(trial.pair(label, against), label, start_s, end_s)
    return _independent(trial, _judged(delta, allowance_of(trial, label, against)), against)


def judge_pooled(
    trial: Trial, label: str, stretches: Sequence[tuple[float, float]], *, against: str | None = None
) -> JudgedDelta:
    """One device over several stretches, the stretches as replicates."""
    delta = delta_pooled(trial.pair(label, against), label, stretches)
    return _independent(trial, _judged(delta, allowance_of(trial, label, against)), against)


def judge_levels(trial: Trial, label: str, blocks: Sequence[Block], *, against: str | None = None) -> tuple[LevelDelta, ...]:
    """Held blocks grouped by level, lowest first: see `levels.levels_of`."""
    return tuple(
        LevelDelta(
            level_w=sum(b.level_w for b in g) / len(g), from_w=g[0].level_w, to_w=g[-1].level_w,
            block_ids=tuple(b.id for b in g),
            judged=judge_pooled(trial, label, [(b.interior_start_s, b.interior_end_s) for b in g], against=against),
        )
        for g in levels_of(blocks)
    )  # fmt: skip


def random_effects(judged: Sequence[JudgedDelta]) -> Pooled | None:
    """Mean of the blocks' percentages, each by its own error and the spread between blocks (REML, Hartung-Knapp). [%]

    Beside the ratio of works, which weighs a block by its work. None under two blocks that carry an error of their own.
    """
    sound = [(d.delta_pct, d.delta_pct_se) for d in judged if d.delta_pct is not None and (d.delta_pct_se or 0.0) > 0]
    if len(sound) < 2:
        return None
    estimates, errors = zip(*sound, strict=True)
    return pool(estimates, errors)


def judge_interval(
    trial: Trial, start_s: float, end_s: float, *, edges_s: Sequence[float] = (), against: str | None = None
) -> tuple[JudgedDelta, ...]:
    """Every device over what a reader has selected, against the reference or any other recording.

    Parameters
    ----------
    edges_s : where blocks begin. An interval that takes in `MIN_PIECES` blocks or parts of blocks has them as its repeats,
        as a summary does: over many blocks the difference wanders too slowly for its seconds to tell an error.

    Raises
    ------
    OutOfRange
        The interval is empty, reversed or not finite, or the trial has no such label.
    """
    if not start_s < end_s or not (trial.start_s - 1 <= start_s and end_s <= trial.end_s + 1):
        raise OutOfRange(
            f"The interval must lie within {trial.start_s:.0f} to {trial.end_s:.0f} s and end after it starts; "
            f"got {start_s} to {end_s}."
        )
    cuts = [start_s, *(edge for edge in sorted(edges_s) if start_s < edge < end_s), end_s]
    others = [label for label in trial.labels if label != (against or trial.reference)]
    if len(cuts) <= MIN_PIECES:
        return tuple(judge_stretch(trial, label, start_s, end_s, against=against) for label in others)
    return tuple(judge_pooled(trial, label, list(pairwise(cuts)), against=against) for label in others)


def _judged(delta: Delta, allowance: Allowance) -> JudgedDelta:
    verdict = verdict_on(delta.delta_pct, delta.delta_pct_ci, allowance.worst_pct, enough=delta.enough)
    return JudgedDelta(
        **vars(delta), allowance_pct=allowance.worst_pct, likely_allowance_pct=allowance.likely_pct,
        verdict=verdict.word, reason=verdict.reason, en=_en(delta, allowance),
    )  # fmt: skip


def _independent(trial: Trial, judged: JudgedDelta, against: str | None) -> JudgedDelta:
    """The same, without a verdict where both recordings carry one sensor's values or a clock between them is not settled."""
    reason = standing_reason(trial, judged.label, against or trial.reference)
    return judged if reason is None else replace(judged, verdict="unsettled", reason=reason, en=None)


def standing_reason(trial: Trial, label: str, other: str) -> str | None:
    """Why there can be no verdict on two recordings, whatever the stretch; None where there can."""
    if trial.one_sensor(label, other):
        return f"{label} and {other} carry {ONE_SENSOR}"
    loose = [one for one in (label, other) if one in trial.adrift]
    if loose:
        return f"The clock of {' and '.join(loose)} {LOOSE_CLOCK}"
    return None


def _en(delta: Delta, allowance: Allowance) -> float | None:
    """How far the delta lies from the middle of the likely allowance, in units of both expanded uncertainties together."""
    low, high = allowance.likely_pct
    if delta.delta_pct is None or delta.delta_pct_ci is None or not high > low:
        return None
    first, last = delta.delta_pct_ci
    return en_score(delta.delta_pct, (low + high) / 2, expanded=(last - first) / 2, expanded_expected=(high - low) / 2)
