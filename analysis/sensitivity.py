"""How far a held delta moves when every trim changes: a verdict that hangs on where blocks were trimmed is not settled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from analysis.blocks import Block
from analysis.judging import JudgedDelta, judge_pooled
from analysis.trial import Trial

TRIM_CHANGE_S = 10.0
# A block keeps its own trim where the longer one would leave less. [s]
MIN_INTERIOR_S = 10.0


@dataclass(frozen=True, kw_only=True)
class Sensitivity:
    """Delta over held power as reported, and its lowest and highest with every trim 10 s shorter or longer. [%]"""

    label: str
    kind: str
    delta_pct: float | None
    low_pct: float | None
    high_pct: float | None
    flips: bool


def sensitivity_of(
    trial: Trial, held: Sequence[Block], judged: JudgedDelta, *, against: str | None = None
) -> Sensitivity:
    """Judge one device's held blocks again with other trims; `judged` is the delta over their interiors as reported."""
    trims = (-TRIM_CHANGE_S, TRIM_CHANGE_S)
    others = [judge_pooled(trial, judged.label, _trimmed(held, by_s), against=against) for by_s in trims]
    deltas = [d.delta_pct for d in (judged, *others) if d.delta_pct is not None]
    return Sensitivity(
        label=judged.label, kind="steady", delta_pct=judged.delta_pct,
        low_pct=min(deltas, default=None), high_pct=max(deltas, default=None),
        flips=any(d.verdict != judged.verdict for d in others),
    )  # fmt: skip


def settled(judged: JudgedDelta, sensitivity: Sensitivity) -> JudgedDelta:
    """The same delta, its verdict withdrawn where another trim would have given another one."""
    if not sensitivity.flips or judged.verdict == "unsettled":
        return judged
    reason = f"The verdict changes when every block is trimmed {TRIM_CHANGE_S:.0f} s more or less, so it is not settled."
    return replace(judged, verdict="unsettled", reason=reason)


def _trimmed(blocks: Sequence[Block], by_s: float) -> list[tuple[float, float]]:
    stretches = []
    for b in blocks:
        start, end = max(b.interior_start_s + by_s, b.start_s), min(b.interior_end_s - by_s, b.end_s)
        stretches.append((start, end) if end - start >= MIN_INTERIOR_S else (b.interior_start_s, b.interior_end_s))
    return stretches
