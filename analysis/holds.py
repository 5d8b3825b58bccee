"""Find the stretches in which power is held: calm seconds first, then their levels, then their edges.

All indices are whole seconds into the power handed over; nothing here knows a clock.
"""

from __future__ import annotations

import itertools

import numpy as np
from scipy import ndimage

from analysis.consensus import IDLE_W
from analysis.runs import runs
from analysis.traces import Floats

MIN_HOLD_S = 30
# Calm: within 15 s the three-second mean stays inside this share of its level. A rider holding power freely shows 3 to 5 %
# second-to-second noise, riding along 30 % and more; the band keeps clear of both. Common practice, no source.
CALM_WINDOW_S = 15
CALM_RANGE_FRAC = 0.25
CALM_RANGE_W = 12.0
# A hold's five-second means scatter less than this about their mean, and do not climb by more from end to end.
MAX_SPREAD_FRAC = 0.07
MAX_TREND_FRAC = 0.10
# Riding along looks held by chance for half a minute now and then. A short hold must therefore be held better, the shorter
# the better (limits at `MIN_HOLD_S` and at `SURE_HOLD_S`, where the ones above take over), or stand beside another one, as
# in over-and-under sets.
LONE_SPREAD_FRAC = (0.010, 0.050)
LONE_TREND_FRAC = (0.020, 0.080)
SURE_HOLD_S = 90
BESIDE_S = 8
MIN_BESIDE_HOLD_S = 38
# Levels closer than this are one level; a step must also stand out of the autocorrelated noise by this many errors.
MIN_STEP_FRAC = 0.045
MIN_STEP_SIGMA = 5.0
MIN_LEVEL_S = 20
# From the calm core outward a hold lasts until the three-second mean has left its level by this much for this long.
EDGE_FRAC = 0.10
EDGE_LEFT_S = 4


def find_holds(power_w: Floats, *, blocked: np.ndarray) -> list[tuple[int, int]]:
    """Half-open ranges of held power, in order, none overlapping, none touching a blocked second.

    Parameters
    ----------
    power_w : shape (n,), one value per second, no NaN. [W]
    blocked : shape (n,), bool; seconds that cannot be part of a hold.
    """
    quick = ndimage.uniform_filter1d(power_w, 3, mode="nearest")
    level = ndimage.uniform_filter1d(power_w, CALM_WINDOW_S, mode="nearest")
    spread = ndimage.maximum_filter1d(quick, CALM_WINDOW_S) - ndimage.minimum_filter1d(quick, CALM_WINDOW_S)
    calm = (spread <= np.maximum(CALM_RANGE_FRAC * level, CALM_RANGE_W)) & (level > 2 * IDLE_W) & ~blocked
    pieces = [piece for first, last in runs(calm) for piece in _levels(power_w, first, last)]
    grown = _grown(quick, power_w, _merged(power_w, pieces), blocked)
    held = [(a, b) for a, b in _merged(power_w, grown) if b - a >= MIN_HOLD_S and _is_held(power_w[a:b], SURE_HOLD_S)]
    sure = {(a, b) for a, b in held if _is_held(power_w[a:b], b - a)}
    fair = [(a, b) for a, b in held if (a, b) in sure or b - a >= MIN_BESIDE_HOLD_S]
    return [piece for piece in held if piece in sure or any(_beside(piece, other) for other in fair)]


def fluctuation(power_w: Floats) -> tuple[float | None, float | None]:
    """Scatter of five-second means and change from start to end, both as shares of the mean; None under 15 s."""
    k = power_w.size // 5
    if k < 3 or power_w.mean() <= 0:
        return None, None
    means = power_w[: 5 * k].reshape(k, 5).mean(axis=1)
    at = np.arange(k) - (k - 1) / 2
    slope = float(at @ means / (at @ at))
    return float(np.std(means - slope * at) / means.mean()), float(slope * (k - 1) / means.mean())


def _is_held(power_w: Floats, length_s: int) -> bool:
    """Whether power is held well enough for a lone hold of this length."""
    spread, trend = fluctuation(power_w[min(8, power_w.size // 6) :])
    lengths = (MIN_HOLD_S, SURE_HOLD_S)
    most_spread, most_trend = (float(np.interp(length_s, lengths, limit)) for limit in (LONE_SPREAD_FRAC, LONE_TREND_FRAC))
    if length_s >= SURE_HOLD_S:
        most_spread, most_trend = MAX_SPREAD_FRAC, MAX_TREND_FRAC
    return spread is not None and trend is not None and spread <= most_spread and abs(trend) <= most_trend


def _beside(piece: tuple[int, int], other: tuple[int, int]) -> bool:
    return piece != other and (0 <= piece[0] - other[1] <= BESIDE_S or 0 <= other[0] - piece[1] <= BESIDE_S)


def _levels(power_w: Floats, first: int, last: int) -> list[tuple[int, int]]:
    """Split a calm stretch where its level steps, by the largest standardised difference of means, again and again.

    Each cut is then placed anew between its neighbours, and goes where the step between them is not certain.
    """
    cuts, todo = [], [(first, last)]
    while todo:
        a, b = todo.pop()
        cut = _step_in(power_w[a:b])
        if cut is not None:
            cuts.append(a + cut)
            todo += [(a + cut, b), (a, a + cut)]
    cuts.sort()
    for _ in range(2):
        i = 0
        while i < len(cuts):
            low, high = cuts[i - 1] if i else first, cuts[i + 1] if i + 1 < len(cuts) else last
            cut = _step_in(power_w[low:high])
            if cut is None:
                del cuts[i]
            else:
                cuts[i] = low + cut
                i += 1
    edges = [first, *cuts, last]
    return list(itertools.pairwise(edges))


def _step_in(x: Floats) -> int | None:
    n = x.size
    if n < 2 * MIN_LEVEL_S:
        return None
    k = np.arange(MIN_LEVEL_S, n - MIN_LEVEL_S + 1)
    total = np.concatenate(([0.0], np.cumsum(x)))
    left, right = total[k] / k, (total[n] - total[k]) / (n - k)
    strength = np.abs(left - right) * np.sqrt(k * (n - k) / n)
    best = int(np.argmax(strength))
    cut, step = int(k[best]), abs(left[best] - right[best])
    if step < MIN_STEP_FRAC * x.mean():
        return None
    noise = _long_run_sd(np.concatenate((x[:cut] - left[best], x[cut:] - right[best])))
    return cut if strength[best] > MIN_STEP_SIGMA * noise else None


def _long_run_sd(residual: Floats) -> float:
    """Standard deviation that a mean's error follows, sqrt(n) taken out: correlated seconds count for less.

    AR(1) on five-second means, which the rider's slow wander and the devices' smoothing leave nearly uncorrelated.
    """
    k = residual.size // 5
    means = residual[: 5 * k].reshape(k, 5).mean(axis=1)
    power = float(means @ means)
    if power <= 0:
        return 0.0
    rho = float(np.clip(means[1:] @ means[:-1] / power, 0.0, 0.6))
    return float(np.sqrt(5 * power / k * (1 + rho) / (1 - rho)))


def _merged(power_w: Floats, pieces: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Join neighbours a few seconds apart that hold the same level."""
    out: list[tuple[int, int]] = []
    for a, b in pieces:
        if out:
            c, d = out[-1]
            here, there = float(np.median(power_w[a:b])), float(np.median(power_w[c:d]))
            between = power_w[d:a]
            same = abs(here - there) < MIN_STEP_FRAC * max(here, there)
            calm = between.size == 0 or abs(float(between.mean()) - here) < 2 * EDGE_FRAC * here
            if same and calm and a - d <= CALM_WINDOW_S + 5:
                out[-1] = (c, b)
                continue
        out.append((a, b))
    return out


def _grown(quick: Floats, power_w: Floats, pieces: list[tuple[int, int]], blocked: np.ndarray) -> list[tuple[int, int]]:
    """Push each piece's ends outward to where power leaves its level; two that meet part where their means fit best."""
    out: list[tuple[int, int]] = []
    for i, (a, b) in enumerate(pieces):
        level = float(np.median(power_w[a:b]))
        left = (np.abs(quick - level) > EDGE_FRAC * level).astype(np.int8)
        left = ndimage.binary_opening(left, np.ones(EDGE_LEFT_S)) | blocked
        floor = pieces[i - 1][1] if i else 0
        ceiling = pieces[i + 1][0] if i + 1 < len(pieces) else power_w.size
        away_before = np.flatnonzero(left[floor:a])
        away_after = np.flatnonzero(left[b:ceiling])
        start = floor + int(away_before[-1]) + 1 if away_before.size else floor
        end = b + int(away_after[0]) if away_after.size else ceiling
        if out and start < out[-1][1]:
            start = _parting(power_w, out[-1], (start, end), pieces[i - 1][1], a)
            out[-1] = (out[-1][0], start)
        out.append((start, end))
    return out


def _parting(power_w: Floats, left: tuple[int, int], right: tuple[int, int], low: int, high: int) -> int:
    if high <= low:
        return low
    x = power_w[low:high]
    left_level, right_level = np.median(power_w[left[0] : low]), np.median(power_w[high : right[1]])
    cost = np.concatenate(([0.0], np.cumsum((x - left_level) ** 2 - (x - right_level) ** 2)))
    return low + int(np.argmin(cost))
