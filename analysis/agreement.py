"""Agreement of two devices over block means, and each device's own noise from three or more.

Watts. Bias and limits after Bland and Altman (Lancet 1986;327:307-310); a line with errors in both (Deming); own noise
without a reference after Grubbs (J Am Stat Assoc 1948;43:243-264).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from analysis.blocks import Block
from analysis.errors import OutOfRange
from analysis.traces import Floats
from analysis.trial import Trial

MIN_BLOCKS = 3  # with two blocks the spread rests on a single degree of freedom
LIMITS_Z = float(stats.norm.ppf(0.975))
# Blocks shorter than this carry more sampling noise than agreement.
MIN_BLOCK_S = 20.0
# Fewer seconds than this cannot separate three devices' noise.
MIN_NOISE_SECONDS = 120


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Bias, its 95 % interval, and limits of agreement with theirs (half-width t * sqrt(3 s^2 / n)). [W]"""

    n: int
    bias_w: float
    bias_ci_w: tuple[float, float]
    sd_w: float
    limits_w: tuple[float, float]
    limit_half_width_w: float


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """One device against the reference; None where there are too few blocks. `basis` says what the pairs are."""

    label: str
    blocks: int
    basis: str
    bias_w: float | None
    bias_ci_w: tuple[float, float] | None
    limits_w: tuple[float, float] | None
    slope: float | None
    intercept_w: float | None
    noise_w: float | None
    note: str


def limits_of_agreement(device_w: ArrayLike, reference_w: ArrayLike) -> Limits:
    """Bland-Altman limits, mean -/+ 1.96 standard deviations of device minus reference.

    Parameters
    ----------
    device_w, reference_w : shape (n,), n >= 3, paired means. [W]

    Raises
    ------
    OutOfRange
        Shapes differ or fewer than three pairs.
    """
    x, y = np.asarray(device_w, float), np.asarray(reference_w, float)
    if x.ndim != 1 or x.shape != y.shape or x.size < MIN_BLOCKS:
        raise OutOfRange(f"Limits of agreement need two equally long rows of {MIN_BLOCKS} or more; got {x.shape} and {y.shape}.")
    d = x - y
    n, bias, sd = d.size, float(d.mean()), float(d.std(ddof=1))
    t = float(stats.t.ppf(0.975, n - 1))
    half = t * sd / math.sqrt(n)
    return Limits(
        n=n,
        bias_w=bias,
        bias_ci_w=(bias - half, bias + half),
        sd_w=sd,
        limits_w=(bias - LIMITS_Z * sd, bias + LIMITS_Z * sd),
        limit_half_width_w=t * sd * math.sqrt(3 / n),
    )


def deming(x: ArrayLike, y: ArrayLike, *, variance_ratio: float = 1.0) -> tuple[float, float]:
    """Slope and intercept of y on x with errors in both; `variance_ratio` = Var(error of y) / Var(error of x).

    slope = [Syy - d Sxx + sqrt((Syy - d Sxx)^2 + 4 d Sxy^2)] / (2 Sxy). Raises OutOfRange where x and y do not vary together.
    """
    a, b = np.asarray(x, float), np.asarray(y, float)
    sxx, syy, sxy = float(np.var(a, ddof=1)), float(np.var(b, ddof=1)), float(np.cov(a, b)[0, 1])
    if sxy == 0:
        raise OutOfRange("A line needs two rows that vary together; these do not.")
    k = syy - variance_ratio * sxx
    slope = (k + math.sqrt(k * k + 4 * variance_ratio * sxy * sxy)) / (2 * sxy)
    return slope, float(b.mean() - slope * a.mean())


def own_variances(rows: Floats) -> Floats:
    """Each device's own error variance from three or more simultaneous rows, shape (m, n) -> (m,), drift taken out.

    Grubbs' sA2 = (V(A-B) + V(A-C) - V(B-C)) / 2 over every pair of others, averaged, where V is half the mean squared
    successive difference, which slow drift does not enter. May be negative: then the data cannot separate that device.
    """
    m = rows.shape[0]
    steps = np.diff(rows, axis=1)
    v = np.array([[float(np.mean((a - b) ** 2)) / 2 for b in steps] for a in steps])
    return np.array(
        [
            np.mean([(v[i, j] + v[i, k] - v[j, k]) / 2 for j, k in combinations([o for o in range(m) if o != i], 2)])
            for i in range(m)
        ]
    )


def agreement_of(trial: Trial, label: str, blocks: Sequence[Block], noise_w: float | None) -> Agreement:
    """Agreement over the means of held blocks, or of all longer blocks where too little was held."""
    held = [b for b in blocks if b.kind == "steady"]
    basis = "held blocks"
    if len(held) < MIN_BLOCKS:
        held, basis = [b for b in blocks if b.kind in ("steady", "free", "transient")], "all ridden blocks"
    pair = trial.pair(label)
    start = np.array([b.interior_start_s for b in held])
    end = np.array([b.interior_end_s for b in held])
    covered, device_ws, reference_ws = pair.totals(start, end) if held else (np.empty(0),) * 3
    used = covered >= np.minimum(MIN_BLOCK_S, 0.5 * (end - start)) if held else np.empty(0, bool)
    n = int(used.sum())
    nothing = Agreement(
        label=label,
        blocks=n,
        basis=basis,
        bias_w=None,
        bias_ci_w=None,
        limits_w=None,
        slope=None,
        intercept_w=None,
        noise_w=noise_w,
        note=f"Only {n} usable blocks; at least {MIN_BLOCKS} are needed.",
    )
    if n < MIN_BLOCKS:
        return nothing
    device_w, reference_w = device_ws[used] / covered[used], reference_ws[used] / covered[used]
    limits = limits_of_agreement(device_w, reference_w)
    spread = float(np.ptp(reference_w))
    slope, intercept = deming(reference_w, device_w) if spread > 0 else (None, None)
    note = f"The line rests on block means from {reference_w.min():.0f} to {reference_w.max():.0f} W."
    return Agreement(
        label=label,
        blocks=n,
        basis=basis,
        bias_w=limits.bias_w,
        bias_ci_w=limits.bias_ci_w,
        limits_w=limits.limits_w,
        slope=slope,
        intercept_w=intercept,
        noise_w=noise_w,
        note=note,
    )


def noise_of(trial: Trial, blocks: Sequence[Block]) -> dict[str, float | None]:
    """Own one-second noise of every recording from held seconds that all cover; None where it cannot be separated. [W]"""
    nothing: dict[str, float | None] = dict.fromkeys(trial.labels)
    if len(trial.labels) < 3:
        return nothing
    rows = np.stack([trial.per_second(label) for label in trial.labels])
    held = np.zeros(rows.shape[1], bool)
    for block in blocks:
        if block.kind == "steady":
            held[int(block.interior_start_s - trial.start_s) : int(block.interior_end_s - trial.start_s)] = True
    rows = rows[:, held & np.isfinite(rows).all(axis=0)]
    if rows.shape[1] < MIN_NOISE_SECONDS:
        return nothing
    return {label: math.sqrt(v) if v > 0 else None for label, v in zip(trial.labels, own_variances(rows), strict=True)}
