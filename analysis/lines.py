"""Straight lines through pairs where both values carry an error: Deming with a jackknife, Theil-Sen, Passing-Bablok.

Any unit; slope is y per x.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from analysis.errors import OutOfRange
from analysis.traces import Floats

LEVEL = 0.95
MIN_PAIRS_FOR_INTERVAL = 4


@dataclass(frozen=True, kw_only=True)
class Line:
    """slope and intercept with their 95 % intervals; None where the pairs are too few for one. n pairs."""

    n: int
    slope: float
    intercept: float
    slope_ci: tuple[float, float] | None
    intercept_ci: tuple[float, float] | None


def deming(x: ArrayLike, y: ArrayLike, *, variance_ratio: float = 1.0) -> tuple[float, float]:
    """Slope and intercept of y on x with errors in both; `variance_ratio` = Var(error of y) / Var(error of x).

    slope = [Syy - d Sxx + sqrt((Syy - d Sxx)^2 + 4 d Sxy^2)] / (2 Sxy). Raises OutOfRange where x and y do not vary together.
    """
    a, b = np.asarray(x, float), np.asarray(y, float)
    everything = np.ones((1, a.size), bool)
    slope, intercept = _demings(a, b, everything, variance_ratio)
    if not np.isfinite(slope[0]):
        raise OutOfRange("A line needs two rows that vary together; these do not.")
    return float(slope[0]), float(intercept[0])


def deming_line(x: ArrayLike, y: ArrayLike, *, variance_ratio: float = 1.0) -> Line:
    """Deming's line with intervals from leaving out one pair at a time (Linnet, Stat Med 1990;9:1463; from memory)."""
    a, b = np.asarray(x, float), np.asarray(y, float)
    slope, intercept = deming(a, b, variance_ratio=variance_ratio)
    n = a.size
    if n < MIN_PAIRS_FOR_INTERVAL:
        return Line(n=n, slope=slope, intercept=intercept, slope_ci=None, intercept_ci=None)
    slopes, intercepts = _demings(a, b, ~np.eye(n, dtype=bool), variance_ratio)
    if not np.isfinite(slopes).all():
        return Line(n=n, slope=slope, intercept=intercept, slope_ci=None, intercept_ci=None)
    t = float(special.stdtrit(n - 2, (1 + LEVEL) / 2))
    half = [t * math.sqrt((n - 1) / n * float(((v - v.mean()) ** 2).sum())) for v in (slopes, intercepts)]
    return Line(
        n=n, slope=slope, intercept=intercept, slope_ci=(slope - half[0], slope + half[0]),
        intercept_ci=(intercept - half[1], intercept + half[1]),
    )  # fmt: skip


def _demings(x: Floats, y: Floats, kept: np.ndarray, variance_ratio: float) -> tuple[Floats, Floats]:
    """One line per row of `kept`, shape (m, n) -> (m,) slopes and intercepts; NaN where x and y do not vary together."""
    count = kept.sum(axis=1)
    mean_x, mean_y = kept @ x / count, kept @ y / count
    dx, dy = (x - mean_x[:, None]) * kept, (y - mean_y[:, None]) * kept
    sxx, syy, sxy = ((p * q).sum(axis=1) for p, q in ((dx, dx), (dy, dy), (dx, dy)))
    k = syy - variance_ratio * sxx
    together = np.abs(sxy) > 1e-12 * np.sqrt(np.maximum(sxx * syy, 1e-300))
    top = k + np.sqrt(k * k + 4 * variance_ratio * sxy * sxy)
    slope = np.divide(top, 2 * sxy, out=np.full(sxy.shape, np.nan), where=together)
    return slope, mean_y - slope * mean_x


def theil_sen(x: ArrayLike, y: ArrayLike) -> Line:
    """Median of the slopes between all pairs, with scipy's rank interval; intercept the median of y - slope x."""
    a, b = np.asarray(x, float), np.asarray(y, float)
    got = stats.theilslopes(b, a, LEVEL, method="joint")
    return Line(
        n=a.size, slope=float(got.slope), intercept=float(got.intercept), slope_ci=(float(got.low_slope), float(got.high_slope)),
        intercept_ci=None,
    )  # fmt: skip


def passing_bablok(x: ArrayLike, y: ArrayLike) -> Line:
    """Shifted median of the slopes between all pairs, which treats x and y alike.

    Passing and Bablok, J Clin Chem Clin Biochem 1983;21:709 (from memory): slopes of -1 are left out, and the median moves
    up by the number below -1. Raises OutOfRange where no slope is left.
    """
    a, b = np.asarray(x, float), np.asarray(y, float)
    i, j = np.triu_indices(a.size, 1)
    dx, dy = a[j] - a[i], b[j] - b[i]
    moved = (dx != 0) | (dy != 0)
    dx, dy = dx[moved], dy[moved]
    slopes = np.divide(dy, dx, out=np.copysign(np.full(dx.size, np.inf), dy), where=dx != 0)
    slopes = np.sort(slopes[slopes != -1.0])
    n, below = slopes.size, int((slopes < -1.0).sum())
    if n < 3 or n - below < 2:
        raise OutOfRange("A line needs two rows that vary together; these do not.")
    middle = (n - 1) / 2 + below
    slope = float(slopes[[math.floor(middle), math.ceil(middle)]].mean())
    if not math.isfinite(slope):
        raise OutOfRange("A line needs two rows that vary together; these do not.")
    spread = float(special.ndtri((1 + LEVEL) / 2)) * math.sqrt(a.size * (a.size - 1) * (2 * a.size + 5) / 18)
    first = max(round((n - spread) / 2), 1) - 1 + below
    last = min(n - 1 - (first - below) + below, n - 1)
    return Line(
        n=a.size, slope=slope, intercept=float(np.median(b - slope * a)),
        slope_ci=(float(slopes[min(first, n - 1)]), float(slopes[last])), intercept_ci=None,
    )  # fmt: skip
