"""Claimed against measured: mass, stack height, float, battery hours ... with the uncertainty of the measurement.

Reads a row of the bench sheet, gives its mean, its expanded uncertainty (95 %) and what that says of the claim. Any unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.budget import Budget, Source, combine, en_score, rectangular
from analysis.errors import OutOfRange

# What a claim promises: this very value, at least it (battery hours), or at most it (mass, start-up time).
Promise = Literal["value", "at least", "at most"]
Answer = Literal["agrees", "differs", "cannot tell"]
MAX_READINGS = 200
# Agreement within a coarser measurement than this says nothing that a reader could use. Common practice, no source.
COARSE_FRAC = 0.10


@dataclass(frozen=True, kw_only=True)
class Row:
    """One quantity of one device.

    readings : repeated readings, the part taken off and put back in between; in `unit`.
    claimed : the maker's figure, None where there is none; tolerance : its stated +- limits, None where unstated.
    resolution : smallest step of the instrument; calibration : standard uncertainty of its calibration; setup : half-width
    of what is lost by how it can be held or reached (an awkward caliper), anywhere inside alike.
    stopped_early : the readings are lower bounds (a battery run that was ended before the battery was).
    """

    quantity: str
    unit: str
    readings: tuple[float, ...]
    claimed: float | None = None
    tolerance: float | None = None
    promise: Promise = "value"
    resolution: float = 0.0
    calibration: float = 0.0
    setup: float = 0.0
    stopped_early: bool = False


@dataclass(frozen=True, kw_only=True)
class Measured:
    """A row worked out: mean and expanded uncertainty with the budget behind it, and what it says of the claim.

    En is given where the claim has a tolerance (as its expanded uncertainty). `reason` is one plain sentence.
    """

    row: Row
    n: int
    mean: float
    spread: float | None
    budget: Budget | None
    delta: float | None
    en: float | None
    answer: Answer | None
    reason: str

    @property
    def expanded(self) -> float | None:
        """Half-width of the 95 % interval, None where nothing is known of the uncertainty."""
        return None if self.budget is None else self.budget.expanded_95


def measure(row: Row) -> Measured:
    """Mean, expanded uncertainty and answer of one row.

    The budget after JCGM 100:2008: repeatability s / sqrt(n) (4.2.3), resolution / sqrt(12) (F.2.2.1), calibration, and what
    the set-up loses as a rectangular distribution (4.3.7); 95 % by effective degrees of freedom (G.4.1), which two readings
    that scatter more than the instrument is off cover in 87 % only, three in 91 % (by simulation).

    Raises
    ------
    OutOfRange
        No reading, too many, one that is no number, or a negative uncertainty; the quantity is named.
    """
    _check(row)
    readings = np.asarray(row.readings, float)
    n, mean = readings.size, float(readings.mean())
    spread = float(readings.std(ddof=1)) if n > 1 else None
    budget = _budget(row, n, spread)
    delta = None if row.claimed is None else mean - row.claimed
    en = None
    if delta is not None and row.tolerance and budget is not None:
        en = en_score(mean, row.claimed, expanded=budget.expanded_95, expanded_expected=row.tolerance)
    answer, reason = _judge(row, mean, budget)
    return Measured(row=row, n=n, mean=mean, spread=spread, budget=budget, delta=delta, en=en, answer=answer, reason=reason)


def _check(row: Row) -> None:
    what = row.quantity or "A row of the bench sheet"
    if not 1 <= len(row.readings) <= MAX_READINGS:
        raise OutOfRange(f"{what} needs 1 to {MAX_READINGS} readings; got {len(row.readings)}.")
    numbers = (*row.readings, *(x for x in (row.claimed, row.tolerance) if x is not None))
    if not all(math.isfinite(x) for x in numbers):
        raise OutOfRange(f"{what}: every reading, claim and tolerance must be a finite number; got {numbers}.")
    for name in ("tolerance", "resolution", "calibration", "setup"):
        value = getattr(row, name) or 0.0
        if not (math.isfinite(value) and value >= 0):
            raise OutOfRange(f"{what}: its {name} must be zero or more, in {row.unit}; got {value!r}.")


def _budget(row: Row, n: int, spread: float | None) -> Budget | None:
    """None where nothing says how far off a reading may be: one reading, and no word on the instrument."""
    sources = [
        Source(name="repeatability", standard=spread / math.sqrt(n), dof=n - 1) if spread else None,
        Source(name="resolution", standard=row.resolution / math.sqrt(12)) if row.resolution else None,
        Source(name="calibration", standard=row.calibration) if row.calibration else None,
        Source(name="set-up", standard=rectangular(row.setup)) if row.setup else None,
    ]
    known = [s for s in sources if s is not None]
    return combine(known) if known else None


def _judge(row: Row, mean: float, budget: Budget | None) -> tuple[Answer | None, str]:
    if row.claimed is None:
        return None, "Nothing is claimed, so there is nothing to hold it against."
    if row.stopped_early:
        return _judge_bound(row, mean)
    if budget is None:
        readings = "One reading" if len(row.readings) == 1 else "Readings all alike"
        return "cannot tell", f"{readings} and no word on the instrument: state the smallest step that it shows."
    if row.promise == "value":
        return _judge_value(row, mean, budget.expanded_95)
    return _judge_limit(row, mean, budget.expanded_95)


def _judge_value(row: Row, mean: float, expanded: float) -> tuple[Answer, str]:
    delta, tolerance = mean - row.claimed, row.tolerance
    if not tolerance:
        if abs(delta) > expanded:
            return "differs", "More than the measurement's uncertainty; the maker states no tolerance, so this is no failure."
        if not row.claimed:
            return "cannot tell", "Nothing says how close to a claim of zero is close enough; state a tolerance."
        if expanded > COARSE_FRAC * abs(row.claimed):
            return "cannot tell", f"The measurement is coarser than {COARSE_FRAC:.0%} of the claim: agreement would say little."
        return "agrees", "The difference is no more than the measurement's uncertainty."
    if abs(en_score(mean, row.claimed, expanded=expanded, expanded_expected=tolerance)) > 1:
        return "differs", "More than the claimed tolerance and the measurement's uncertainty together (En beyond 1)."
    if expanded > tolerance:
        return "cannot tell", "The measurement is coarser than the tolerance that it would have to check."
    return "agrees", "Within the claimed tolerance and the measurement's uncertainty together (En up to 1)."


def _judge_limit(row: Row, mean: float, expanded: float) -> tuple[Answer, str]:
    """A promise of one side only: how far the mean lies on the promised side of the limit decides."""
    tolerance = row.tolerance or 0.0
    kept_by = mean - row.claimed if row.promise == "at least" else row.claimed - mean
    if kept_by + tolerance >= expanded:
        return "agrees", "The promise is kept by more than the measurement's uncertainty."
    if kept_by + tolerance < -expanded:
        return "differs", "The promise is missed by more than the measurement's uncertainty."
    return "cannot tell", "The promised limit lies inside the measurement's uncertainty."


def _judge_bound(row: Row, mean: float) -> tuple[Answer, str]:
    """Runs that were stopped early show only that the true figure is higher."""
    most = row.claimed + (row.tolerance or 0.0)
    if mean > most and (row.promise == "at most" or (row.promise == "value" and row.tolerance)):
        return "differs", f"Still going at {mean:g} {row.unit}, which is more than is claimed."
    if row.promise != "at most" and mean >= row.claimed:
        return "agrees", f"Stopped at {mean:g} {row.unit}, which is no less than is claimed."
    return "cannot tell", f"The run was stopped at {mean:g} {row.unit}; the true figure is higher by an unknown amount."
