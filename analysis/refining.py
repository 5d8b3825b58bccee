"""The lag of two signals to a fraction of a second around a whole one, its standard error, and the same window by window.

Signals come as values on one-second grids, NaN where nothing was recorded. Nothing is resampled: the cost is taken at
whole lags, where both noises are whole as well, and its minimum is read between them (on a resampled signal, whose
noise is smoothed between the samples, the minimum is drawn to half samples).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft, stats

from analysis.traces import Floats

# Slower wander than this is removed first, so that two rides that both warm up do not look alike.
HIGH_PASS_S = 91
# Both signals are smoothed alike before matching: what is sharper than the sampling would bend the cost between whole
# lags. Binomial weights, standard deviation 1 s.
SMOOTHING = np.array([1.0, 4.0, 6.0, 4.0, 1.0]) / 16.0
# Bandwidth of the long-run variance behind a lag's standard error; residuals of power and heart rate are
# correlated over some seconds. Common practice, no source.
HAC_LAGS = 20
# What the interpolation itself leaves, root mean square over phases; measured on noise-free generated rides.
INTERPOLATION_SE = 0.003
# Blocks behind an error that rests on what the trial itself shows; longer than residuals remember. [s]
BLOCK_S = 20
# Lags on either side of the whole one through which the cost is interpolated: a quartic through five. A parabola
# through three is drawn towards whole lags by up to 0.008, which also bends a clock's rate by some per cent.
REACH = 2
# Values at -2..2 to the coefficients of their quartic.
_QUARTIC = np.linalg.inv(np.vander(np.arange(-REACH, REACH + 1.0), increasing=True))


@dataclass(frozen=True, kw_only=True)
class Overlap:
    """Two prepared signals over the stretch they share at a whole lag, of one length, missing where either is missing.

    device[k] matches reference[k]; `first` is the index of device[0] in the device's own grid.
    """

    device: Floats
    reference: Floats
    first: int
    lag: int


@dataclass(frozen=True, kw_only=True)
class Refined:
    """Lag and its error in grid steps, the correlation at the nearest whole lag, and what the error rests on."""

    lag: float
    lag_se: float
    correlation: float
    samples: int
    residual: Floats


def prepared(values: Floats) -> Floats:
    """What carries timing: the wander slower than `HIGH_PASS_S` taken out, then lightly smoothed; NaN stays NaN."""
    quick = _high_passed(values)
    half = SMOOTHING.size // 2
    if quick.size <= 2 * half:
        return quick
    out = np.full(quick.size, np.nan)
    out[half:-half] = np.convolve(quick, SMOOTHING, mode="valid")
    return out


def _high_passed(values: Floats) -> Floats:
    there = np.isfinite(values)
    half = HIGH_PASS_S // 2
    total = np.concatenate(([0.0], np.cumsum(np.where(there, values, 0.0))))
    count = np.concatenate(([0], np.cumsum(there)))
    i = np.arange(values.size)
    low, high = np.maximum(i - half, 0), np.minimum(i + half + 1, values.size)
    number = count[high] - count[low]
    mean = np.divide(total[high] - total[low], number, out=np.full(values.size, np.nan), where=number > 0)
    return values - mean


def overlapping(device: Floats, reference: Floats, lag: int) -> Overlap:
    """Both signals where they share time at a whole lag, prepared after what one of them lacks was taken from the other.

    A hole in one would otherwise leave its neighbours with another running mean than in the other, and draw the lag.
    """
    first, last = max(0, -lag), min(device.size, reference.size - lag)
    a, b = device[first : max(last, first)], reference[first + lag : max(last, first) + lag]
    missing = ~(np.isfinite(a) & np.isfinite(b))
    a, b = (np.where(missing, np.nan, v) for v in (a, b))
    return Overlap(device=prepared(a), reference=prepared(b), first=first, lag=lag)


def refine(shared: Overlap) -> Refined | None:
    """Lag, error and correlation around the overlap's whole lag; None where too little moves to say."""
    # the grid's best lag may be one off once holes and slow wander no longer disturb it
    offset = 0
    for _ in range(2):
        moved = _moved(shared, offset)
        cost = unexplained(moved, REACH)
        best = int(np.argmin(cost)) - REACH
        if best == 0:
            break
        offset += best
    residual, slope_product, slope = residuals(*moved)
    if residual.size < 2 * HAC_LAGS or not np.isfinite(cost).all():
        return None
    return Refined(
        lag=shared.lag + offset + vertex(cost),
        lag_se=lag_error(residual, slope_product, slope),
        correlation=float(np.sqrt(max(1.0 - cost[REACH], 0.0))),
        samples=residual.size,
        residual=residual,
    )


def _moved(shared: Overlap, offset: int) -> tuple[Floats, Floats]:
    a, b = shared.device, shared.reference
    return (a[: a.size - offset], b[offset:]) if offset >= 0 else (a[-offset:], b[: b.size + offset])


def unexplained(pair: tuple[Floats, Floats], reach: int) -> Floats:
    """Share of the device's variance that a straight line on the reference leaves, at lags -reach to reach."""
    return window_costs(*pair, np.array([0, pair[0].size]), reach)[0]


def window_costs(device: Floats, reference: Floats, edges: np.ndarray, reach: int) -> Floats:
    """The same for each window between two edges, shape (windows, 2 reach + 1); NaN where nothing moves.

    edges : ascending indices, (windows + 1,). Windows keep their place on the device; the reference slides.
    """
    padded = np.concatenate((np.full(reach, np.nan), reference, np.full(reach, np.nan)))
    costs = np.full((edges.size - 1, 2 * reach + 1), np.nan)
    for j in range(2 * reach + 1):
        other = padded[j : j + device.size]
        product = device * other
        there = np.isfinite(product)
        x, y = np.where(there, device, 0.0), np.where(there, other, 0.0)
        rows = np.stack((there.astype(float), x, y, x * x, y * y, np.where(there, product, 0.0)))
        n, sx, sy, sxx, syy, sxy = np.add.reduceat(rows[:, : edges[-1]], edges[:-1], axis=1)
        n = np.maximum(n, 1.0)
        spread = (sxx - sx * sx / n) * (syy - sy * sy / n)
        moves = spread > 1e-12
        r = np.divide(sxy - sx * sy / n, np.sqrt(np.where(moves, spread, 1.0)), out=np.zeros(n.size), where=moves)
        costs[:, j] = np.where(moves & (n >= 3), 1.0 - np.clip(r, 0.0, 1.0) ** 2, np.nan)
    return costs


def vertex(cost: Floats) -> float:
    """Where a quartic through the costs at -2..2 has its minimum, within 0.6 of a step; the middle where it has none."""
    if cost.size != 2 * REACH + 1 or not np.isfinite(cost).all():
        return 0.0
    _, c1, c2, c3, c4 = _QUARTIC @ cost
    at = float(np.clip(-c1 / (2 * c2), -0.6, 0.6)) if c2 > 0 else 0.0
    for _ in range(6):
        bend = 2 * c2 + at * (6 * c3 + 12 * c4 * at)
        if bend <= 0:
            break
        at = float(np.clip(at - (c1 + at * (2 * c2 + at * (3 * c3 + 4 * c4 * at))) / bend, -0.6, 0.6))
    return at


def residuals(device: Floats, reference: Floats) -> tuple[Floats, Floats, Floats]:
    """What a straight line leaves of `device` given `reference`, and the slopes that carry the timing.

    Returns residual, product of both slopes (its sum estimates the energy of the slope free of noise, because the two
    devices' noises are independent), and the slope of the reference, each shape (n,), in units of `device`, NaN left out.
    """
    if device.size < 3:
        return np.empty(0), np.empty(0), np.empty(0)
    da, db = np.gradient(device), np.gradient(reference)
    there = np.isfinite(device) & np.isfinite(reference) & np.isfinite(da) & np.isfinite(db)
    a, b, da, db = device[there], reference[there], da[there], db[there]
    if a.size < 3:
        return np.empty(0), np.empty(0), np.empty(0)
    a, b = a - a.mean(), b - b.mean()
    gain = dot(a, b) / max(dot(b, b), 1e-12)
    residual = a - gain * b
    return residual, gain * da * db, gain * db


def correlation_time(residual: Floats) -> float:
    """Samples per independent sample of a series, from its lag-1 autocorrelation; 1 to 60."""
    if residual.size < 3:
        return 1.0
    e = residual - residual.mean()
    power = dot(e, e)
    rho = dot(e[1:], e[:-1]) / power if power > 0 else 0.0
    return float(np.clip((1 + rho) / max(1 - rho, 1e-3), 1.0, 60.0))


def lag_error(residual: Floats, slope_product: Floats, slope: Floats) -> float:
    """Error of the lag: root of the variance of summed slope x residual over the slope's energy.

    The larger of two estimates: one from blocks of the trial, each freed of its own pull on the fit, which sees residuals
    that grow where the signal is steep; and one that takes residuals as stationary, which does not shrink when few
    edges carry the timing. The first is widened by Student's t for the number of blocks that matter, so that plus and
    minus 1.96 of it is a 95 % interval.
    """
    energy = float(slope_product.sum())
    if energy <= 0:
        return float("inf")
    # what is left of a fraction of a step is misalignment, not noise
    own = dot(slope, slope)
    rest = residual - slope * (dot(slope, residual) / own)
    edges = np.arange(0, rest.size, BLOCK_S)
    score, share = np.add.reduceat(slope * rest, edges), np.add.reduceat(slope * slope, edges) / own
    by_blocks = float((score**2 / np.maximum(1 - share, 0.1)).sum())
    weight = np.concatenate(([1.0], 2 * (1 - np.arange(1, HAC_LAGS + 1) / (HAC_LAGS + 1))))
    stationary = float((weight * _lag_products(rest) * _lag_products(slope)).sum()) / rest.size
    matter = float(1 / (share**2).sum())
    wider = float(stats.t.ppf(0.975, max(matter, 2.0))) / 1.96
    return float(np.hypot(np.sqrt(max(wider**2 * by_blocks, stationary, 0.0)) / energy, INTERPOLATION_SE))


def dot(a: Floats, b: Floats) -> float:
    """Sum of products without BLAS, whose threads cost more on vectors of this length than they save."""
    return float(np.einsum("i,i->", a, b))


def _lag_products(x: Floats) -> Floats:
    """Sum of x[t] x[t + lag] for lags 0 to HAC_LAGS."""
    size = fft.next_fast_len(x.size + HAC_LAGS, real=True)
    return fft.irfft(np.abs(fft.rfft(x, size)) ** 2, size)[: HAC_LAGS + 1]
