"""How one sampled signal lies in time against another: shift, standard error, and how peaked the match is.

Signals come as values on one-second grids, NaN where nothing was recorded. A lag counts grid steps:
`device[k]` matches `reference[k + lag]`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from analysis.traces import Floats

# Slower wander than this is removed first, so that two rides that both warm up do not look alike.
HIGH_PASS_S = 91
# Fewer common seconds than this say nothing about a shift.
MIN_OVERLAP_S = 60
# Maxima closer than this to the best one belong to the same peak; its width is what the standard error is about.
SAME_PEAK_S = 6
# Bandwidth of the long-run variance behind a shift's standard error; residuals of power and heart rate are
# correlated over some seconds. Common practice, no source.
HAC_LAGS = 20
# Both signals are smoothed alike before matching: on edges as sharp as the sampling the cost is V-shaped, and a parabola
# through whole lags would be drawn a third of the way to the nearest one. Binomial weights, standard deviation 1 s.
SMOOTHING = np.array([1.0, 4.0, 6.0, 4.0, 1.0]) / 16.0
# What is left of that pull, root mean square over phases; measured on generated trials (tests/analysis/test_aligning.py).
PARABOLA_SE = 0.02
# A rival peak counts when it rests on at least this share of the best one's samples.
RIVAL_OVERLAP_FRAC = 0.5


@dataclass(frozen=True, kw_only=True)
class Match:
    """Best lag of one signal: `lag` and `lag_se` in grid steps.

    margin : lead in log-likelihood over the next peak, or over the best chance match where that is less.
    """

    lag: float
    lag_se: float
    correlation: float
    overlap_s: int
    margin: float
    rival_lag: int | None


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


def correlations(device: Floats, reference: Floats) -> tuple[Floats, Floats]:
    """Pearson correlation over the common samples, and their number, at every lag from -(n - 1) to m - 1.

    Six products of transforms, so that holes in either signal cost nothing and each lag has its own mean and variance.
    """
    size = fft.next_fast_len(device.size + reference.size - 1, real=True)

    def spectra(values: Floats) -> list[np.ndarray]:
        there = np.isfinite(values)
        x = np.where(there, values - np.nanmean(values), 0.0)
        return [fft.rfft(part, size) for part in (there.astype(float), x, x * x)]

    d1, dx, dxx = spectra(device)
    r1, rx, rxx = spectra(reference)
    products = [(d1, r1), (dx, r1), (d1, rx), (dxx, r1), (d1, rxx), (dx, rx)]
    n, sx, sy, sxx, syy, sxy = (_lagged(np.conj(a) * b, size, device.size, reference.size) for a, b in products)
    n = np.rint(n)
    safe = np.maximum(n, 1.0)
    spread = (sxx - sx * sx / safe) * (syy - sy * sy / safe)
    # relative to the whole signals' energy, so that rounding noise of the transforms never passes for a spread
    floor = 1e-9 * max(float(sxx.max() * syy.max()), 1e-300)
    usable = (n >= 3) & (spread > floor)
    r = np.divide(sxy - sx * sy / safe, np.sqrt(np.maximum(spread, floor)), out=np.zeros(n.size), where=usable)
    return np.clip(r, -0.9999999, 0.9999999), n


def _lagged(product: np.ndarray, size: int, n: int, m: int) -> Floats:
    circular = fft.irfft(product, size)
    return np.concatenate((circular[size - (n - 1) :], circular[:m])) if n > 1 else circular[:m]


def best_match(device: Floats, reference: Floats) -> Match | None:
    """Search every lag, refine the best to a fraction of a step; None where there is nothing to match.

    The refinement is a parabola through the unexplained share 1 - r^2 at whole lags: no resampling, which would draw
    the minimum to half samples.
    """
    x, y = prepared(device), prepared(reference)
    if min(np.isfinite(x).sum(), np.isfinite(y).sum()) < MIN_OVERLAP_S or not (np.nanstd(x) > 0 and np.nanstd(y) > 0):
        return None
    r, n = correlations(x, y)
    gain = np.where((r > 0) & (n >= MIN_OVERLAP_S), -0.5 * n * np.log1p(-r * r), 0.0)
    best = int(np.argmax(gain))
    if gain[best] <= 0:
        return None
    unexplained = 1 - r * r
    rival = _rival(r, n, best)
    lag = best - (device.size - 1)
    residual, slope_product, slope = residuals(x, y, lag)
    rival_lag = None if rival is None else rival - (device.size - 1)
    # seconds are correlated, so likelihoods count the independent ones only; over chance: the best of as many lags as were tried
    time_constant = correlation_time(residual)
    over_chance = float(gain[best]) / time_constant - float(np.log(r.size))
    over_rival = np.inf if rival_lag is None else _lead(x, y, lag, rival_lag) / time_constant
    return Match(
        lag=lag + (vertex(unexplained[best - 1 : best + 2]) if 0 < best < r.size - 1 else 0.0),
        lag_se=_lag_error(residual, slope_product, slope),
        correlation=float(r[best]),
        overlap_s=int(n[best]),
        margin=min(over_chance, over_rival),
        rival_lag=rival_lag,
    )


def _rival(r: Floats, n: Floats, best: int) -> int | None:
    """The next best local maximum, compared as if on equally many samples: a longer overlap is no evidence."""
    peaks = np.flatnonzero((r[1:-1] >= r[:-2]) & (r[1:-1] > r[2:]) & (r[1:-1] > 0)) + 1
    peaks = peaks[(np.abs(peaks - best) > SAME_PEAK_S) & (n[peaks] >= RIVAL_OVERLAP_FRAC * n[best])]
    return int(peaks[np.argmax(r[peaks])]) if peaks.size else None


def _lead(x: Floats, y: Floats, lag: int, rival_lag: int) -> float:
    """Log-likelihood by which one lag beats another, as if on equally many samples.

    The ends are left out: there the running mean is one-sided, and a repeated pattern would look unlike itself.
    """
    half = HIGH_PASS_S // 2
    half = HIGH_PASS_S // 2
    inner = [np.where((np.arange(v.size) >= half) & (np.arange(v.size) < v.size - half), v, np.nan) for v in (x, y)]
    (best, count), (rival, rival_count) = (_unexplained(*inner, k) for k in (lag, rival_lag))
    if rival_count < MIN_OVERLAP_S:
        return np.inf
    return 0.5 * count * float(np.log(rival / best))


def _unexplained(x: Floats, y: Floats, lag: int) -> tuple[float, int]:
    """Share of `x` that `y` leaves unexplained at a whole lag, and the number of common samples."""
    residual, _, _ = residuals(x, y, lag)
    first, last = max(0, -lag), min(x.size, y.size - lag)
    energy = float(np.nansum(x[first:last] ** 2))
    return max(float(residual @ residual), 1e-9) / max(energy, 1e-9), residual.size


def vertex(three: Floats) -> float:
    """Where a parabola through values at -1, 0, 1 has its minimum, within half a step; 0 where it has none."""
    if three.size != 3 or not np.isfinite(three).all():
        return 0.0
    curvature = three[0] - 2 * three[1] + three[2]
    return 0.0 if curvature <= 0 else float(np.clip(0.5 * (three[0] - three[2]) / curvature, -0.5, 0.5))


def residuals(x: Floats, y: Floats, lag: int) -> tuple[Floats, Floats, Floats]:
    """At a whole lag: what a straight line leaves of `x` given `y`, and the slopes that carry the timing.

    Returns residual, product of both slopes (its sum estimates the energy of the slope free of noise, because the two
    devices' noises are independent), and the slope of the reference, each shape (n,), in units of `x`, NaN left out.
    """
    first, last = max(0, -lag), min(x.size, y.size - lag)
    if last - first < 3:
        return np.empty(0), np.empty(0), np.empty(0)
    a, b = x[first:last], y[first + lag : last + lag]
    da, db = np.gradient(a), np.gradient(b)
    there = np.isfinite(a) & np.isfinite(b) & np.isfinite(da) & np.isfinite(db)
    a, b, da, db = a[there], b[there], da[there], db[there]
    if a.size < 3:
        return np.empty(0), np.empty(0), np.empty(0)
    gain = np.cov(a, b)[0, 1] / max(np.var(b, ddof=1), 1e-12)
    residual = a - a.mean() - gain * (b - b.mean())
    return residual, gain * da * db, gain * db


def correlation_time(residual: Floats) -> float:
    """Samples per independent sample of a series, from its lag-1 autocorrelation; 1 to 60."""
    if residual.size < 3:
        return 1.0
    e = residual - residual.mean()
    power = float(e @ e)
    rho = float(e[1:] @ e[:-1]) / power if power > 0 else 0.0
    return float(np.clip((1 + rho) / max(1 - rho, 1e-3), 1.0, 60.0))


def _lag_error(residual: Floats, slope_product: Floats, slope: Floats) -> float:
    """Error of the lag: root of the long-run variance of slope x residual over the slope's energy.

    The larger of two estimates: the sandwich, which sees residuals that grow where the signal is steep, and the one
    that takes residuals as stationary, which does not shrink when few edges carry the timing.
    """
    energy = float(slope_product.sum())
    if energy <= 0:
        return float("inf")
    # what is left of a fraction of a step is misalignment, not noise
    rest = residual - slope * (float(slope @ residual) / float(slope @ slope))
    weight = np.concatenate(([1.0], 2 * (1 - np.arange(1, HAC_LAGS + 1) / (HAC_LAGS + 1))))
    sandwich = float((weight * _lag_products(slope * rest)).sum())
    stationary = float((weight * _lag_products(rest) * _lag_products(slope)).sum()) / rest.size
    return float(np.hypot(np.sqrt(max(sandwich, stationary, 0.0)) / energy, PARABOLA_SE))


def _lag_products(x: Floats) -> Floats:
    """Sum of x[t] x[t + lag] for lags 0 to HAC_LAGS."""
    size = fft.next_fast_len(x.size + HAC_LAGS, real=True)
    return fft.irfft(np.abs(fft.rfft(x, size)) ** 2, size)[: HAC_LAGS + 1]
