"""How one sampled signal lies in time against another: every lag searched, the best refined, and how peaked the match is.

Signals come as values on one-second grids, NaN where nothing was recorded. A lag counts grid steps:
`device[k]` matches `reference[k + lag]`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import fft

from analysis.refining import HIGH_PASS_S, Overlap, correlation_time, dot, overlapping, prepared, refine
from analysis.traces import Floats

# Fewer common seconds than this say nothing about a shift.
MIN_OVERLAP_S = 60
# Maxima closer than this to the best one belong to the same peak; its width is what the standard error is about.
SAME_PEAK_S = 6
# A rival peak counts when it rests on at least this share of the best one's samples.
RIVAL_OVERLAP_FRAC = 0.5
# Rival peaks told of, and how near in correlation they must come to be worth telling. A choice, no source.
MAX_RIVALS = 4
RIVAL_CORRELATION_FRAC = 0.6
# A peak where it was expected is kept unless the whole ride matches this much better elsewhere.
NEAR_FRAC = 0.9
# Lags on either side of the best one in the picture of a match.
CURVE_REACH_S = 60


@dataclass(frozen=True, kw_only=True)
class Match:
    """Best lag of one signal: `lag` and `lag_se` in grid steps.

    margin : lead in log-likelihood over the next peak, or over the best chance match where that is less.
    rivals : other peaks as (lag, correlation), the nearest in correlation first.
    curve : whole lags around the best one and their correlations.
    shared : both signals at the best whole lag, for the clock's rate. ready : both signals as prepared for matching.
    """

    lag: float
    lag_se: float
    correlation: float
    overlap_s: int
    margin: float
    rivals: tuple[tuple[int, float], ...]
    curve: tuple[Floats, Floats]
    shared: Overlap
    ready: tuple[Floats, Floats]

    @property
    def rival_lag(self) -> int | None:
        return self.rivals[0][0] if self.rivals else None


def correlations(device: Floats, reference: Floats) -> tuple[Floats, Floats]:
    """Pearson correlation over the common samples, and their number, at every lag from -(n - 1) to m - 1.

    Six products of transforms, so that holes in either signal cost nothing and each lag has its own mean and variance.
    """
    size = fft.next_fast_len(device.size + reference.size - 1, real=True)

    def spectra(values: Floats) -> np.ndarray:
        there = np.isfinite(values)
        x = np.where(there, values - np.nanmean(values), 0.0)
        return fft.rfft(np.stack((there.astype(float), x, x * x)), size, axis=1)

    d1, dx, dxx = np.conj(spectra(device))
    r1, rx, rxx = spectra(reference)
    circular = fft.irfft(np.stack((d1 * r1, dx * r1, d1 * rx, dxx * r1, d1 * rxx, dx * rx)), size, axis=1)
    before = circular[:, size - (device.size - 1) :] if device.size > 1 else circular[:, :0]
    n, sx, sy, sxx, syy, sxy = np.concatenate((before, circular[:, : reference.size]), axis=1)
    n = np.rint(n)
    safe = np.maximum(n, 1.0)
    spread = (sxx - sx * sx / safe) * (syy - sy * sy / safe)
    # relative to the whole signals' energy, so that rounding noise of the transforms never passes for a spread
    floor = 1e-9 * max(float(sxx.max() * syy.max()), 1e-300)
    usable = (n >= 3) & (spread > floor)
    r = np.divide(sxy - sx * sy / safe, np.sqrt(np.maximum(spread, floor)), out=np.zeros(n.size), where=usable)
    return np.clip(r, -0.9999999, 0.9999999), n


def best_match(
    device: Floats,
    reference: Floats,
    *,
    near: tuple[float, float] | None = None,
    ready: tuple[Floats, Floats] | None = None,
) -> Match | None:
    """Search every lag, refine the best to a fraction of a step; None where there is nothing to match.

    near : (lag, reach): where the best peak within that reach is nearly as good as any, it is taken, and only peaks
        within that reach are its rivals in the margin.
    ready : both signals as `prepared` makes them, where they have been made already.
    """
    x, y = ready or (prepared(device), prepared(reference))
    if min(np.isfinite(x).sum(), np.isfinite(y).sum()) < MIN_OVERLAP_S or not (np.nanstd(x) > 0 and np.nanstd(y) > 0):
        return None
    r, n = correlations(x, y)
    zero = device.size - 1
    allowed = (r > 0) & (n >= MIN_OVERLAP_S)
    gain = np.where(allowed, -0.5 * n * np.log1p(-r * r), 0.0)
    best, elsewhere = int(np.argmax(gain)), []
    if near is not None:
        close = allowed & (np.abs(np.arange(r.size) - zero - near[0]) <= near[1])
        nearest = int(np.argmax(np.where(close, gain, 0.0)))
        if close[nearest] and r[nearest] >= NEAR_FRAC * r[best]:
            elsewhere = [best] if abs(best - nearest) > near[1] else []
            allowed, best = close, nearest
    if gain[best] <= 0:
        return None
    lag = best - zero
    shared = overlapping(device, reference, lag)
    found = refine(shared)
    if found is None:
        return None
    rivals = _rivals(r, n, best, allowed)
    # seconds are correlated, so likelihoods count the independent ones only; over chance: the best of as many lags as were tried
    time_constant = correlation_time(found.residual)
    over_chance = float(gain[best]) / time_constant - float(np.log(allowed.sum()))
    over_rival = min((_lead(x, y, lag, k - zero, time_constant) for k in rivals), default=np.inf)
    told = [k for k in rivals if r[k] >= RIVAL_CORRELATION_FRAC * r[best]] or rivals[:1]
    low, high = max(best - CURVE_REACH_S, 0), min(best + CURVE_REACH_S + 1, r.size)
    return Match(
        lag=found.lag,
        lag_se=found.lag_se,
        correlation=found.correlation,
        overlap_s=int(n[best]),
        margin=min(over_chance, over_rival),
        rivals=tuple((k - zero, float(r[k])) for k in (*told, *elsewhere)),
        curve=(np.arange(low, high) - float(zero), r[low:high]),
        shared=shared,
        ready=(x, y),
    )


def _rivals(r: Floats, n: Floats, best: int, allowed: np.ndarray) -> list[int]:
    """The next best local maxima, compared as if on equally many samples: a longer overlap is no evidence."""
    peaks = np.flatnonzero((r[1:-1] >= r[:-2]) & (r[1:-1] > r[2:]) & allowed[1:-1]) + 1
    peaks = peaks[(np.abs(peaks - best) > SAME_PEAK_S) & (n[peaks] >= RIVAL_OVERLAP_FRAC * n[best])]
    chosen: list[int] = []
    for k in peaks[np.argsort(-r[peaks])]:
        if all(abs(k - c) > SAME_PEAK_S for c in chosen):
            chosen.append(int(k))
        if len(chosen) == MAX_RIVALS:
            break
    return chosen


def _lead(x: Floats, y: Floats, lag: int, rival_lag: int, time_constant: float) -> float:
    """Log-likelihood by which one lag beats another, as if on equally many samples, held against chance.

    Two residual variances from n independent samples each differ by chance as well: the logarithm of their ratio has a
    variance of 4 / n, and a lead of z such standard deviations counts for z^2 / 2 at most. The ends are left out: there
    the running mean is one-sided, and a repeated pattern would look unlike itself.
    """
    half = HIGH_PASS_S // 2
    inner = [np.where((np.arange(v.size) >= half) & (np.arange(v.size) < v.size - half), v, np.nan) for v in (x, y)]
    (best, count), (rival, rival_count) = (_unexplained(*inner, k) for k in (lag, rival_lag))
    if rival_count < MIN_OVERLAP_S:
        return np.inf
    ratio, independent = float(np.log(rival / best)), min(count, rival_count) / time_constant
    return min(0.5 * count / time_constant * ratio, independent * ratio * abs(ratio) / 8)


def _unexplained(x: Floats, y: Floats, lag: int) -> tuple[float, int]:
    """Share of `x` that a straight line on `y` leaves at a whole lag, and the number of common samples."""
    first, last = max(0, -lag), min(x.size, y.size - lag)
    a, b = x[first : max(last, first)], y[first + lag : max(last, first) + lag]
    there = np.isfinite(a) & np.isfinite(b)
    a, b = a[there], b[there]
    if a.size < 3:
        return 1.0, 0
    a, b = a - a.mean(), b - b.mean()
    r = dot(a, b) / max(float(np.sqrt(dot(a, a) * dot(b, b))), 1e-12)
    return max(1.0 - max(r, 0.0) ** 2, 1e-9), a.size
