"""The headline and what it could not hold, in plain words, never stronger than the evidence."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.evidence import Finding
from analysis.judging import LOOSE_CLOCK, ONE_SENSOR, JudgedDelta
from analysis.verdict import signed

_RANK = {"outside": 0, "unsettled": 1, "within": 2}
_MOVING = ("drift", "temperature")
_NEXT = ("gained-power", "single-sided", "offset", "cadence", "lag", "dropouts", "stuck", "smoothing")
BOTH_RISE = "A device warms as it is ridden; this trial cannot tell whether time or temperature is behind it."
# Longer than this a headline is no longer taken in at one look; the other devices are then told together.
MAX_HEADLINE = 200


def headline(reference: str, summaries: Sequence[tuple[str, str, JudgedDelta]], findings: Sequence[Finding]) -> str:
    """One sentence with its numbers: the device that most needs explaining, then how the others stand.

    Parameters
    ----------
    summaries : (label, kind, what is judged of it) per device; kind "steady" where power was held, else "all".
    """
    if not summaries:
        return "There is nothing to compare."
    ordered = sorted(summaries, key=lambda item: (_RANK[item[2].verdict], item[0] not in _moving(findings)))
    moving = [item for item in ordered if item[0] in _moving(findings)]
    label, kind, judged = moving[0] if moving and ordered[0][2].verdict != "outside" else ordered[0]
    sentence = _about(label, reference, kind, judged, [f for f in findings if f.label == label])
    others = [(other, j) for other, _, j in summaries if other != label]
    start = f"{sentence[0].upper()}{sentence[1:]}"
    whole = "; ".join([start, *(_aside(*one) for one in others)]) + "."
    return whole if len(whole) <= MAX_HEADLINE or len(others) < 2 else "; ".join([start, *_together(others)]) + "."


def second_sentence(findings: Sequence[Finding], scope: str) -> str:
    """The clearest findings that the headline does not hold, what it cannot tell, and how far the result reaches."""
    rest = [f.text for f in findings if f.code in _NEXT and f.strength == "clear"]
    rest += [f.text for f in findings if f.code in _NEXT and f.strength != "clear"]
    doubt = [BOTH_RISE] if any(f.code in _MOVING for f in findings) else []
    return " ".join([*rest[:2], *doubt, scope])


def _moving(findings: Sequence[Finding]) -> set[str]:
    return {f.label for f in findings if f.code in _MOVING and f.strength == "clear"}


def _about(label: str, reference: str, kind: str, judged: JudgedDelta, findings: Sequence[Finding]) -> str:
    first = findings[0] if findings else None
    band = f"{signed(judged.allowance_pct[0])} to {signed(judged.allowance_pct[1])} %"
    if judged.delta_pct is None or judged.delta_pct_ci is None:
        return f"{label} and {reference} share too little power to be compared"
    if first is not None and first.code in _MOVING:
        grows = ("climbs" if first.size > 0 else "falls") if first.strength == "clear" else (
            "seems to climb" if first.size > 0 else "seems to fall"
        )  # fmt: skip
        return f"{label} against {reference}: the difference {grows} {first.short}; claims and drivetrain loss explain {band}"
    low, high = judged.delta_pct_ci
    reads = (
        f"{label} against {reference}: {signed(judged.delta_pct)} % {_when(kind, first)} "
        f"(95 % interval {signed(low)} to {signed(high)} %)"
    )
    if judged.verdict == "outside":
        return f"{reads}, more than the {band} that claims and drivetrain loss explain"
    if judged.verdict == "within":
        return f"{reads}, within the {band} that claims and drivetrain loss explain"
    if judged.reason.endswith(ONE_SENSOR):
        return f"{reads}, without a verdict: both carry one sensor's values"
    if judged.reason.endswith(LOOSE_CLOCK):
        return f"{reads}, without a verdict: their clocks could not be settled"
    return f"{reads}, and this trial cannot tell whether that is more than the {band} that claims and drivetrain loss explain"


def _when(kind: str, first: Finding | None) -> str:
    if kind != "steady":
        return "over the whole ride"
    return first.short if first is not None and first.code == "steady-bias" else "while power is held"


def _together(others: Sequence[tuple[str, JudgedDelta]]) -> list[str]:
    """The other devices by verdict, so that the sentence stays short."""
    words = {"outside": "outside their allowance as well", "unsettled": "not settled", "within": "within their allowance"}
    found = []
    for verdict, word in words.items():
        those = [label for label, judged in others if judged.verdict == verdict]
        if those:
            found.append(f"{', '.join(those)}: {word if len(those) > 1 else word.replace('their', 'its')}")
    return found


def _aside(label: str, judged: JudgedDelta) -> str:
    if judged.delta_pct is None:
        return f"{label}: cannot be judged"
    words = {"within": "within its allowance", "outside": "outside its allowance as well", "unsettled": "not settled"}
    return f"{label}: {signed(judged.delta_pct)} %, {words[judged.verdict]}"
