"""Uncertainty budgets after JCGM 100:2008 and the En score after ISO 13528: standard uncertainties in, expanded ones out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy import special

from analysis.errors import OutOfRange

COVERAGE_FACTOR = 2.0  # k = 2, about 95 %; JCGM 100:2008, 6.3.3


@dataclass(frozen=True, kw_only=True)
class Source:
    """One source of uncertainty: standard uncertainty in the budget's unit, and its degrees of freedom."""

    name: str
    standard: float
    dof: float = math.inf


@dataclass(frozen=True, kw_only=True)
class Budget:
    """Sources combined: standard uncertainty, effective degrees of freedom, expanded with k = 2 and with t for 95 %."""

    standard: float
    dof: float
    expanded_k2: float
    k_95: float
    expanded_95: float


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value that is anywhere within +- half_width alike (JCGM 100:2008, 4.3.7)."""
    return half_width / math.sqrt(3)


def combine(sources: Sequence[Source]) -> Budget:
    """Root sum of squares (JCGM 100:2008, 5.1.2) with the degrees of freedom of Welch and Satterthwaite (G.4.1).

    Raises OutOfRange where no source is given or one is negative.
    """
    if not sources or any(not s.standard >= 0 for s in sources):
        raise OutOfRange("A budget needs at least one source, each with an uncertainty of zero or more.")
    standard = math.sqrt(sum(s.standard**2 for s in sources))
    spent = sum(s.standard**4 / s.dof for s in sources)
    dof = standard**4 / spent if spent > 0 else math.inf
    k = float(special.stdtrit(dof, 0.975)) if math.isfinite(dof) else float(special.ndtri(0.975))
    return Budget(standard=standard, dof=dof, expanded_k2=COVERAGE_FACTOR * standard, k_95=k, expanded_95=k * standard)


def en_score(value: float, expected: float, *, expanded: float, expanded_expected: float) -> float:
    """(value - expected) over the root sum of squares of their EXPANDED uncertainties; up to 1 in size is agreement.

    ISO 13528:2015, 9.7 (clause from memory). Raises OutOfRange where neither carries an uncertainty.
    """
    spread = math.hypot(expanded, expanded_expected)
    if not spread > 0:
        raise OutOfRange("An En score needs an uncertainty on at least one of its two values.")
    return (value - expected) / spread
