"""How fast one clock runs against another: lags of windows along the trial and a robust line through them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from analysis.refining import REACH, SMOOTHING, Overlap, vertex, window_costs
from analysis.traces import Floats

# Windows for the drift of one clock against the other: long enough to hold some changes, at least so many, at most so many.
WINDOW_S = 300
MIN_WINDOWS, MAX_WINDOWS = 6, 24
# Shorter rides say nothing: at 50 ppm a clock goes 0.12 s wrong in 40 minutes. [s]
MIN_SPAN_S = 2400
# How sure a drift must be before it is applied.
DRIFT_SIGMA = 3.0
# Crystals of head units err by tens of ppm; windows are searched as far as this would carry them. Common practice, no source.
MAX_DRIFT_PPM = 300.0
# What interpolation and rounding of readings leave in one window's lag, root mean square.
WINDOW_SE_FLOOR_S = 0.01
# Long-run over plain variance of white noise under `refining.SMOOTHING`: 1 / sum of squared weights.
NOISE_FACTOR = 1 / float(SMOOTHING @ SMOOTHING)
# A window whose best lag leaves more than this unexplained shows nothing in common.
MAX_UNEXPLAINED = 0.7
HUBER_K = 1.345


@dataclass(frozen=True, kw_only=True)
class ClockRate:
    """Line through the windows' lags: `lag = lag_at_centre + slope (index - centre)`.

    centre : index into the device's grid, where the line's two errors are independent.
    """

    ppm: float
    ppm_se: float
    ppm_ci: tuple[float, float]
    lag_at_centre: float
    lag_at_centre_se: float
    centre: float
    windows: int

    @property
    def certain(self) -> bool:
        """Whether it can be told from zero, so that applying it does more good than harm."""
        return abs(self.ppm) > DRIFT_SIGMA * self.ppm_se

    def lag_at(self, index: float) -> tuple[float, float]:
        """Lag on the line at an index of the device's grid, and its standard error."""
        away = index - self.centre
        return self.lag_at_centre + self.ppm * 1e-6 * away, math.hypot(self.lag_at_centre_se, self.ppm_se * 1e-6 * away)


def clock_rate(shared: Overlap) -> ClockRate | None:
    """Rate of the device's clock against the reference's; None where the trial is too short or says nothing."""
    size = shared.device.size
    if size < MIN_SPAN_S:
        return None
    n_windows = int(np.clip(size // WINDOW_S, MIN_WINDOWS, MAX_WINDOWS))
    edges = np.linspace(0, size, n_windows + 1).astype(int)
    reach = REACH + 1 + math.ceil(MAX_DRIFT_PPM * 1e-6 * size / 2)
    costs = window_costs(shared.device, shared.reference, edges, reach)
    at, lag, error = [], [], []
    for first, last, cost in zip(edges[:-1], edges[1:], costs, strict=True):
        found = _window(cost, reach)
        if found is not None:
            at.append(shared.first + (first + last) / 2)
            lag.append(shared.lag + found[0])
            error.append(math.sqrt(2 * NOISE_FACTOR / (found[1] * (last - first))))
    if len(at) < MIN_WINDOWS:
        return None
    return _robust_line(np.array(at), np.array(lag), np.hypot(error, WINDOW_SE_FLOOR_S))


def _window(cost: Floats, reach: int) -> tuple[float, float] | None:
    """Lag of one window and its information: curvature of the cost over what is left at its minimum."""
    if not np.isfinite(cost).all():
        return None
    best = int(np.argmin(cost))
    if not REACH <= best <= 2 * reach - REACH or cost[best] > MAX_UNEXPLAINED:
        return None
    curvature = cost[best - 1] - 2 * cost[best] + cost[best + 1]
    if curvature <= 0:
        return None
    return best - reach + vertex(cost[best - REACH : best + REACH + 1]), float(curvature / max(cost[best], 1e-4))


def _robust_line(at: Floats, lag: Floats, error: Floats) -> ClockRate:
    """Weighted line with Huber weights; errors grow with the scatter seen, never shrink below what the windows say."""
    plain = 1 / error**2
    bent = plain
    for _ in range(12):
        centre = float(bent @ at / bent.sum())
        design = np.column_stack((np.ones(at.size), at - centre))
        normal = np.linalg.inv(design.T @ (design * bent[:, None]))
        coefficients = normal @ (design.T @ (bent * lag))
        residual = lag - design @ coefficients
        scale = max(1.0, 1.4826 * float(np.median(np.abs(residual) / error)))
        bent = plain * np.minimum(1.0, HUBER_K / np.maximum(np.abs(residual) / (error * scale), 1e-9))
    freedom = at.size - 2
    spread = max(1.0, float(bent @ residual**2) / freedom)
    slope_se = float(np.sqrt(normal[1, 1] * spread))
    half = float(stats.t.ppf(0.975, freedom)) * slope_se
    slope = float(coefficients[1])
    return ClockRate(
        ppm=slope * 1e6, ppm_se=slope_se * 1e6, ppm_ci=((slope - half) * 1e6, (slope + half) * 1e6),
        lag_at_centre=float(coefficients[0]), lag_at_centre_se=float(np.sqrt(normal[0, 0] * spread)), centre=centre,
        windows=int(at.size),
    )  # fmt: skip
