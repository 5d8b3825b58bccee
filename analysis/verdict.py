"""Three outcomes, fixed before the data are seen: a delta is within its allowance, outside it, or cannot be told.

Reads percentages, gives one of three frozen results, each with its reason in words.
"""

from __future__ import annotations

from dataclasses import dataclass

from analysis.numerals import signed


@dataclass(frozen=True)
class Within:
    reason: str
    word: str = "within"


@dataclass(frozen=True)
class Outside:
    reason: str
    word: str = "outside"


@dataclass(frozen=True)
class Unsettled:
    reason: str
    word: str = "unsettled"


Verdict = Within | Outside | Unsettled


def verdict_on(
    delta_pct: float | None,
    delta_pct_ci: tuple[float, float] | None,
    allowance_pct: tuple[float, float],
    *,
    enough: bool,
) -> Verdict:
    """Hold a delta's 95 % interval against the worst-case allowance, with the interval itself as guard band.

    The whole interval inside: within; wholly outside: outside; else it cannot be told (the rule of JCGM 106:2012, clause 8,
    with a guard band of one expanded uncertainty on both decisions; clause number from memory).
    """
    low, high = allowance_pct
    if delta_pct is None:
        return Unsettled("There is no common time with power to compare.")
    if delta_pct_ci is None or not enough:
        return Unsettled("The stretch is too short to judge: its seconds are too few or too alike to give a sound interval.")
    first, last = delta_pct_ci
    band = f"{signed(low)} to {signed(high)} %"
    if low <= first and last <= high:
        return Within(f"The whole interval lies within what claims and drivetrain loss explain ({band}).")
    if first > high or last < low:
        by = first - high if first > high else low - last
        side = "above" if first > high else "below"
        return Outside(
            f"The whole interval lies {side} what claims and drivetrain loss explain ({band}), by {_at_least(by)}."
        )
    return Unsettled(f"The interval reaches across the edge of what claims and drivetrain loss explain ({band}).")


def _at_least(points: float) -> str:
    return f"at least {points:.1f} points" if round(points, 1) > 0 else "less than 0.1 points at its nearer end"
