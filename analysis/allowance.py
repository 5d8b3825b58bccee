"""The range of delta that the makers' claims and the drivetrain loss can explain, set blind to the data.

Everything is a ratio device / reference, less one, in percent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.setup import UPSTREAM_OF_CHAIN

COVERAGE_FACTOR = 2.0  # k = 2, about 95 %; JCGM 100:2008, 6.3.3


@dataclass(frozen=True, kw_only=True)
class Part:
    """One contribution to the allowance, alone. [%]"""

    name: str
    low_pct: float
    high_pct: float


@dataclass(frozen=True, kw_only=True)
class Allowance:
    """worst_pct : every part at its limit at once; the verdict rests on it. likely_pct : parts combined after JCGM 100."""

    worst_pct: tuple[float, float]
    likely_pct: tuple[float, float]
    parts: tuple[Part, ...]


def allowance_between(
    point: str | None,
    reference_point: str | None,
    *,
    claim_pct: float,
    reference_claim_pct: float,
    loss_pct: tuple[float, float],
) -> Allowance:
    """Allowance for a device held against a reference.

    With c the claims and [l1, l2] the loss between the measuring points as fractions of the upstream power: device
    upstream of the chain and reference downstream, the true ratio lies in [1/(1-l1), 1/(1-l2)]; the other way round in
    [1-l2, 1-l1]; on the same side it is 1. Worst case: times [(1-c_D)/(1+c_R), (1+c_D)/(1-c_R)].
    Likely: claims and loss as rectangular distributions, standard uncertainty = half-width / sqrt(3)
    (JCGM 100:2008, 4.3.7), added in quadrature (5.1.2) and expanded with k = 2 (6.3.3).

    A point that was not stated (None) could lie on either side: the widest range is taken.
    """
    c_d, c_r = claim_pct / 100, reference_claim_pct / 100
    low, high = _true_ratio(point, reference_point, loss_pct[0] / 100, loss_pct[1] / 100)
    worst = low * (1 - c_d) / (1 + c_r) - 1, high * (1 + c_d) / (1 - c_r) - 1
    middle, half = (low + high) / 2, (high - low) / 2
    u = middle * math.sqrt((c_d**2 + c_r**2 + (half / middle) ** 2) / 3)
    likely = middle - 1 - COVERAGE_FACTOR * u, middle - 1 + COVERAGE_FACTOR * u
    return Allowance(
        worst_pct=(100 * worst[0], 100 * worst[1]),
        likely_pct=(100 * likely[0], 100 * likely[1]),
        parts=(
            Part(name="the device's claim", low_pct=-claim_pct, high_pct=claim_pct),
            Part(name="the reference's claim", low_pct=100 * (1 / (1 + c_r) - 1), high_pct=100 * (1 / (1 - c_r) - 1)),
            Part(name=_loss_name(point, reference_point), low_pct=100 * (low - 1), high_pct=100 * (high - 1)),
        ),
    )


def _true_ratio(point: str | None, reference_point: str | None, l1: float, l2: float) -> tuple[float, float]:
    upstream, downstream, level = (1 / (1 - l1), 1 / (1 - l2)), (1 - l2, 1 - l1), (1.0, 1.0)
    if point is None or reference_point is None:
        known = point or reference_point
        if known is None:
            return downstream[0], upstream[1]
        other_side = (point is None) == (known in UPSTREAM_OF_CHAIN)
        return (downstream[0], 1.0) if other_side else (1.0, upstream[1])
    before, reference_before = point in UPSTREAM_OF_CHAIN, reference_point in UPSTREAM_OF_CHAIN
    if before == reference_before:
        return level
    return upstream if before else downstream


def _loss_name(point: str | None, reference_point: str | None) -> str:
    if point is None or reference_point is None:
        return "drivetrain loss (a measuring point was not stated, so either order)"
    if (point in UPSTREAM_OF_CHAIN) == (reference_point in UPSTREAM_OF_CHAIN):
        return f"drivetrain loss (none: {point} and {reference_point} are on the same side of the chain)"
    first, second = (point, reference_point) if point in UPSTREAM_OF_CHAIN else (reference_point, point)
    return f"drivetrain loss from {first} to {second}"
