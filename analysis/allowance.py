"""The range of delta that the makers' claims and the drivetrain loss can explain, set blind to the data.

Everything is a ratio device / reference, less one, in percent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.budget import Source, combine, rectangular
from analysis.setup import UPSTREAM_OF_CHAIN

# Losses at which the probability is averaged; midpoints, so that the figure is the same on every machine to five digits.
LOSS_STEPS = 2001


@dataclass(frozen=True, kw_only=True)
class Part:
    """One contribution to the allowance, alone. [%]"""

    name: str
    low_pct: float
    high_pct: float


@dataclass(frozen=True, kw_only=True)
class Allowance:
    """worst_pct : every part at its limit at once; the verdict rests on it. likely_pct : parts combined after JCGM 100.

    downstream : "device" or "reference", whichever sits after the chain while the other sits before it, else None.
    downstream_higher_prob : probability that it reads the higher of the two, were both as good as claimed; None with it.
    """

    worst_pct: tuple[float, float]
    likely_pct: tuple[float, float]
    parts: tuple[Part, ...]
    downstream: str | None = None
    downstream_higher_prob: float | None = None


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
    relative = combine([Source(name="claims and loss", standard=rectangular(a)) for a in (c_d, c_r, half / middle)])
    likely = middle - 1 - middle * relative.expanded_k2, middle - 1 + middle * relative.expanded_k2
    downstream = _downstream(point, reference_point)
    up, down = (c_r, c_d) if downstream == "device" else (c_d, c_r)
    return Allowance(
        worst_pct=(100 * worst[0], 100 * worst[1]),
        likely_pct=(100 * likely[0], 100 * likely[1]),
        parts=(
            Part(name="the device's claim", low_pct=-claim_pct, high_pct=claim_pct),
            Part(name="the reference's claim", low_pct=100 * (1 / (1 + c_r) - 1), high_pct=100 * (1 / (1 - c_r) - 1)),
            Part(name=_loss_name(point, reference_point), low_pct=100 * (low - 1), high_pct=100 * (high - 1)),
        ),
        downstream=downstream,
        downstream_higher_prob=None
        if downstream is None
        else downstream_above(upstream_claim_pct=100 * up, downstream_claim_pct=100 * down, loss_pct=loss_pct),
    )


def downstream_above(
    *, upstream_claim_pct: float, downstream_claim_pct: float, loss_pct: tuple[float, float], ratio: float = 1.0
) -> float:
    """Probability that a device after the chain reads more than `ratio` times one before it, both as good as claimed.

    Both errors and the loss rectangular and independent (JCGM 100:2008, 4.3.7). At each loss the difference of the two
    readings is a sum of two rectangular variables, whose distribution is closed; the losses are averaged.
    """
    low, high = loss_pct[0] / 100, loss_pct[1] / 100
    loss = low + (high - low) * (np.arange(LOSS_STEPS) + 0.5) / LOSS_STEPS
    # (1 - loss)(1 + d) - ratio (1 + u) > 0 with d, u within their claims
    a, b = (1 - loss) * downstream_claim_pct / 100, ratio * upstream_claim_pct / 100
    margin = ratio - (1 - loss)
    small, large = np.minimum(a, b), np.maximum(a, b)
    if not large.max() > 0:
        return float(np.mean(margin < 0) + np.mean(margin == 0) / 2)
    # survival function of a trapezium on [-(small + large), small + large], flat within large - small
    at = np.abs(margin)
    flat = 0.5 - at / (2 * large)
    tail = np.clip(small + large - at, 0.0, None) ** 2 / np.maximum(8 * small * large, 1e-300)
    above = np.where(at <= large - small, flat, tail)
    return float(np.mean(np.where(margin >= 0, above, 1 - above)))


def _downstream(point: str | None, reference_point: str | None) -> str | None:
    if point is None or reference_point is None or (point in UPSTREAM_OF_CHAIN) == (reference_point in UPSTREAM_OF_CHAIN):
        return None
    return "reference" if point in UPSTREAM_OF_CHAIN else "device"


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
