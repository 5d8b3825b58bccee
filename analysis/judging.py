"""A delta, its allowance and its verdict together, for any stretch of a trial."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analysis.allowance import Allowance, allowance_between
from analysis.deltas import Delta, delta_over, delta_pooled
from analysis.errors import OutOfRange
from analysis.trial import Trial
from analysis.verdict import verdict_on


@dataclass(frozen=True, kw_only=True)
class JudgedDelta:
    """One device over one stretch; field names and units are those of the JSON's `deltas`."""

    label: str
    n_s: float
    mean_w: float | None
    reference_mean_w: float | None
    delta_w: float | None
    delta_w_ci: tuple[float, float] | None
    delta_pct: float | None
    delta_pct_ci: tuple[float, float] | None
    allowance_pct: tuple[float, float]
    likely_allowance_pct: tuple[float, float]
    verdict: str
    reason: str
    blocks: int = 1

    def to_dict(self) -> dict[str, Any]:
        """The fields as JSON has them, `blocks` left to the summary."""
        return {k: list(v) if isinstance(v, tuple) else v for k, v in vars(self).items() if k != "blocks"}


def allowance_of(trial: Trial, label: str) -> Allowance:
    """Allowance of one of the trial's devices against its reference."""
    device, reference = trial.recording(label), trial.recordings[0]
    return allowance_between(
        device.point, reference.point, claim_pct=device.claim_pct, reference_claim_pct=reference.claim_pct,
        loss_pct=trial.loss_pct,
    )  # fmt: skip


def judge_stretch(trial: Trial, label: str, start_s: float, end_s: float) -> JudgedDelta:
    """One device over one stretch."""
    return _judged(delta_over(trial.pair(label), label, start_s, end_s), allowance_of(trial, label))


def judge_pooled(trial: Trial, label: str, stretches: Sequence[tuple[float, float]]) -> JudgedDelta:
    """One device over several stretches, the stretches as replicates."""
    return _judged(delta_pooled(trial.pair(label), label, stretches), allowance_of(trial, label))


def judge_interval(trial: Trial, start_s: float, end_s: float) -> tuple[JudgedDelta, ...]:
    """Every device over what a reader has selected.

    Raises
    ------
    OutOfRange
        The interval is empty, reversed or not finite.
    """
    if not start_s < end_s or not (trial.start_s - 1 <= start_s and end_s <= trial.end_s + 1):
        raise OutOfRange(
            f"The interval must lie within {trial.start_s:.0f} to {trial.end_s:.0f} s and end after it starts; "
            f"got {start_s} to {end_s}."
        )
    return tuple(judge_stretch(trial, device.label, start_s, end_s) for device in trial.devices)


def _judged(delta: Delta, allowance: Allowance) -> JudgedDelta:
    verdict = verdict_on(delta.delta_pct, delta.delta_pct_ci, allowance.worst_pct, enough=delta.enough)
    fields = {k: v for k, v in vars(delta).items() if k != "enough"}
    return JudgedDelta(
        **fields, allowance_pct=allowance.worst_pct, likely_allowance_pct=allowance.likely_pct,
        verdict=verdict.word, reason=verdict.reason,
    )  # fmt: skip
