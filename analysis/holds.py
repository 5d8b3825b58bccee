"""Find the stretches in which power is held: one optimal cut of the whole trace, neighbours of one level joined, edges placed.

All indices are whole seconds into the power handed over; nothing here knows a clock. The cost is linear in the seconds.
"""

from __future__ import annotations

import itertools

import numpy as np
from scipy import ndimage

from analysis.consensus import IDLE_W
from analysis.traces import Floats

Range = tuple[int, int]

# Holds are ridden from half a minute on; edges at half-height and an entry of some seconds take a little of it away.
MIN_HOLD_S = 26
MIN_CORE_S = 20
# The trace is cut on log(power + 15 W): noise of held power is a share of it, and the watts keep small powers from looking wild.
LOG_FLOOR_W = 15.0
# Cost of a second: its squared distance from the piece's mean where power is held, this where it is not. A rider holding power
# freely shows 3 to 5 % second-to-second noise, riding along 30 % and more; the square of 8.5 % stands between them.
# Common practice, no source.
LOOSE_COST = 0.085**2
# A piece must pay for itself. Low, so that rather too many are cut: joining comes after and knows the noise.
PIECE_COST = 0.05
MIN_PIECE_S = 15
MAX_PIECE_S = 600  # keeps the cost linear; longer holds are joined
# Neighbouring levels are two when they differ by this share and by this many standard errors. Common practice, no source.
MIN_STEP_FRAC = 0.04
MIN_STEP_SIGMA = 5.0
SHORT_PIECE_S, SHORT_STEP_SIGMA = 45, 5.5  # short pieces were cut where the noise happened to be highest
# What ten-second means of held power scatter by, where the ride is too short to show it, and its bounds; a piece's own few means
# are pulled to the ride's as if that rested on so many. Slow pacing, which no length of a hold averages out, is a share of it.
# Common practice, no source.
NOISE_FRAC, LEAST_NOISE_FRAC, MOST_NOISE_FRAC = 0.025, 0.004, 0.03
NOISE_WEIGHT = 8.0
WANDER_SHARE = 0.4
# Two pieces of one level this far apart are one hold when what lies between them stays near (a gear change, a drink).
BRIDGED_S = 15
BRIDGED_FRAC = 0.20
TOUCHING_S, MIN_BRIDGED_S = 3, 40  # with more than a breath between them, only pieces that are holds by themselves
# The end of a hold that differs from the rest by this much in cadence and in power is riding along. Common practice, no source.
# Up to twenty seconds, as long as nothing is kept up in riding along, cadence alone will do.
MIN_TAIL_S, SHORT_TAIL_S, MAX_TAIL_S, AFTER_TAIL_S = 6, 20, 45, 60
TAIL_CADENCE_RPM, TAIL_POWER_FRAC = 3.5, 0.02
# A hold's five-second means scatter less than this about their mean, and do not climb by more from end to end.
# A short one climbs by chance: 3.5 % noise over 45 s gives a trend of 5 % (one standard error).
MAX_SPREAD_FRAC = 0.07
MAX_TREND_FRAC, MAX_SHORT_TREND_FRAC = 0.10, 0.20
# Riding along looks held by chance for half a minute now and then. A short hold must therefore be held better, the shorter
# the better (limits at `MIN_LONE_HOLD_S` and at `SURE_HOLD_S`, where the ones above take over), or stand beside another one, as
# in over-and-under sets, or stand out of what is ridden around it.
LONE_SPREAD_FRAC = (0.010, 0.050)
LONE_TREND_FRAC = (0.020, 0.080)
MIN_LONE_HOLD_S, SURE_HOLD_S = 30, 65
BESIDE_S = 8
MIN_BESIDE_HOLD_S, MIN_SET = 38, 3
STANDS_OUT, STANDS_OUT_PCT = 1.2, 90.0  # times this percentile of what is ridden on either side
AROUND_S = 60
# Holds of one level and about one length are meant when they come this often.
REPEATS, REPEAT_LEVEL_FRAC, REPEAT_LENGTH_FRAC = 4, 0.03, 0.15
# Power on its way from one level to the next strays this much beyond them at most, over a few seconds by chance more.
STRAY_FRAC, BRIEF_STRAY_FRAC, BRIEF_S = 0.10, 0.25, 6
# Half-height is looked for this far beside a hold: slow entries take ten seconds and more.
MAX_WAY_S = 16


def find_holds(power_w: Floats, *, blocked: np.ndarray, cadence_rpm: Floats | None = None) -> list[Range]:
    """Half-open ranges of held power, in order, none overlapping, none touching a blocked second.

    Parameters
    ----------
    power_w : shape (n,), one value per second, no NaN. [W]
    blocked : shape (n,), bool; seconds that cannot be part of a hold.
    cadence_rpm : shape (n,), NaN where unknown; tells riding along at a hold's power from the hold itself.
    """
    quick = ndimage.median_filter(power_w, 3, mode="nearest")
    pieces = _pieces(quick, blocked | (ndimage.uniform_filter1d(power_w, 5, mode="nearest") < 2 * IDLE_W))
    cores = _joined(power_w, pieces)
    if cadence_rpm is not None:
        cores = [_without_tails(power_w, cadence_rpm, core) for core in cores]
    placed = _placed(power_w, cores, blocked)
    held = {
        (a, b): power_w[core[0] : core[1]]
        for (a, b), core in zip(placed, cores, strict=True)
        if b - a >= MIN_HOLD_S and core[1] - core[0] >= MIN_CORE_S and _is_level(power_w[core[0] : core[1]])
    }
    sure = {piece for piece, core_w in held.items() if _is_sure(core_w) or _stands_out(power_w, piece)}
    sure |= _repeated(power_w, list(held))
    return [piece for group in _groups(list(held), BESIDE_S) for piece in group if piece in sure or _is_set(group, piece, sure)]


def fluctuation(power_w: Floats) -> tuple[float | None, float | None]:
    """Scatter of five-second means and change from start to end, both as shares of the mean; None under 15 s."""
    k = power_w.size // 5
    if k < 3 or power_w.mean() <= 0:
        return None, None
    means = power_w[: 5 * k].reshape(k, 5).mean(axis=1)
    at = np.arange(k) - (k - 1) / 2
    slope = float(at @ means / (at @ at))
    return float(np.std(means - slope * at) / means.mean()), float(slope * (k - 1) / means.mean())


def _pieces(power_w: Floats, blocked: np.ndarray) -> list[Range]:
    """Cut of least cost into pieces of constant level and loose seconds between them (dynamic programme over the seconds).

    Optimal partitioning (Jackson et al., IEEE Signal Processing Letters 2005;12:105-108; from memory) with a second state
    for seconds that belong to no level.
    """
    n = power_w.size
    y = np.log(np.maximum(power_w, 0.0) + LOG_FLOOR_W)
    y -= y.mean()
    sums = np.concatenate(([0.0], np.cumsum(y)))
    squares = np.concatenate(([0.0], np.cumsum(y * y + 1e3 * blocked)))
    length = np.arange(MAX_PIECE_S, MIN_PIECE_S - 1, -1, dtype=float)
    least = np.zeros(n + 1)
    before = np.zeros(n + 1, int)
    base = np.zeros(n + 1)  # least cost up to a second less the squares up to it
    for t in range(1, n + 1):
        least[t], before[t] = least[t - 1] + LOOSE_COST, t - 1
        first = max(t - MAX_PIECE_S, 0)
        last = t - MIN_PIECE_S + 1
        if last > first:
            total = sums[t] - sums[first:last]
            cost = base[first:last] - total * total / length[length.size - (last - first) :]
            best = int(cost.argmin())
            held = cost[best] + squares[t] + PIECE_COST
            if held < least[t]:
                least[t], before[t] = held, first + best
        base[t] = least[t] - squares[t]
    found, t = [], n
    while t > 0:
        if before[t] < t - 1:
            found.append((int(before[t]), t))
        t = int(before[t])
    return found[::-1]


def _joined(power_w: Floats, pieces: list[Range]) -> list[Range]:
    """Join neighbours that hold one level."""
    noise = _noise_frac(power_w, pieces)
    return [joined for group in _groups(pieces, BRIDGED_S) for joined in _joined_in(power_w, group, noise)]


def _joined_in(power_w: Floats, pieces: list[Range], noise: float) -> list[Range]:
    """Join within one group, the most alike first, until all that is left differs for certain."""
    out = list(pieces)
    doubt = [_certainty(power_w, a, b, noise) for a, b in itertools.pairwise(out)]
    while doubt:
        i = int(np.argmin(doubt))
        if doubt[i] >= 1.0:
            break
        out[i : i + 2] = [(out[i][0], out[i + 1][1])]
        del doubt[i]
        for k in (i - 1, i):
            if 0 <= k < len(doubt):
                doubt[k] = _certainty(power_w, out[k], out[k + 1], noise)
    return out


def _certainty(power_w: Floats, left: Range, right: Range, noise_frac: float) -> float:
    """How far two neighbours are from being one level: 1 at the limits, infinite where they are too far apart to be joined."""
    x, y, between = power_w[slice(*left)], power_w[slice(*right)], power_w[left[1] : right[0]]
    here, there = float(x.mean()), float(y.mean())
    level = max((here + there) / 2, 1.0)
    if between.size > BRIDGED_S or (between.size and abs(float(between.mean()) - level) > BRIDGED_FRAC * level):
        return np.inf
    if between.size > TOUCHING_S and min(x.size, y.size) < MIN_BRIDGED_S:
        return np.inf
    step = abs(here - there)
    powers, counts = zip(*(_ten_second_changes(part) for part in (x, y)), strict=True)
    noise_w = np.sqrt((NOISE_WEIGHT * (noise_frac * level) ** 2 + sum(powers)) / (NOISE_WEIGHT + sum(counts)))
    error = noise_w * np.sqrt(10 / x.size + 10 / y.size + WANDER_SHARE**2)
    sigmas = MIN_STEP_SIGMA if min(x.size, y.size) >= SHORT_PIECE_S else SHORT_STEP_SIGMA
    return float(min(step / (MIN_STEP_FRAC * level), step / (sigmas * error)))


def _noise_frac(power_w: Floats, pieces: list[Range]) -> float:
    """What ten-second means scatter by in the ride's longer pieces, the middle one, as a share of their level."""
    own = []
    for a, b in pieces:
        power, count = _ten_second_changes(power_w[a:b])
        if count >= 4:
            own.append(np.sqrt(power / count) / power_w[a:b].mean())
    return float(np.clip(np.median(own), LEAST_NOISE_FRAC, MOST_NOISE_FRAC)) if own else NOISE_FRAC


def _ten_second_changes(x: Floats) -> tuple[float, int]:
    """Half the summed squares of the changes between neighbouring ten-second means, which no slow climb enters; their number."""
    k = x.size // 10
    if k < 2:
        return 0.0, 0
    change = np.diff(x[: 10 * k].reshape(k, 10).mean(axis=1))
    return float(change @ change) / 2, k - 1


def _without_tails(power_w: Floats, cadence_rpm: Floats, core: Range) -> Range:
    """A piece less what begins or ends it at another cadence and another power: riding along at nearly the hold's level."""
    a, b = core
    if b - a < MIN_HOLD_S + MIN_TAIL_S:
        return core
    b -= _tail(power_w[a:b][::-1], cadence_rpm[a:b][::-1])
    a += _tail(power_w[a:b], cadence_rpm[a:b])
    return a, b


def _tail(power_w: Floats, cadence_rpm: Floats) -> int:
    """Seconds at the start of a piece that are ridden otherwise than what follows, by cadence and, when many, by power."""
    n = min(power_w.size, MAX_TAIL_S + AFTER_TAIL_S)
    k = np.arange(MIN_TAIL_S, min(MAX_TAIL_S, n - MIN_HOLD_S) + 1)
    x = cadence_rpm[:n]
    if k.size == 0 or not np.isfinite(x).all():
        return 0
    total = np.concatenate(([0.0], np.cumsum(x)))
    step = np.abs(total[k] / k - (total[n] - total[k]) / (n - k))
    cut = int(k[np.argmax(step * np.sqrt(k * (n - k)))])
    before, after = float(power_w[:cut].mean()), float(power_w[cut:n].mean())
    other_cadence = step[cut - MIN_TAIL_S] > TAIL_CADENCE_RPM * max(np.sqrt(SHORT_TAIL_S / cut), 1.0) and cut < MAX_TAIL_S
    return cut if other_cadence and (abs(before - after) > TAIL_POWER_FRAC * after or cut <= SHORT_TAIL_S) else 0


def _placed(power_w: Floats, pieces: list[Range], blocked: np.ndarray) -> list[Range]:
    """Pieces with their edges where power is half way between the levels on both sides (half-height, after IEEE Std 181)."""
    out = [list(piece) for piece in pieces]
    for left, right in itertools.pairwise(out):
        if right[0] - left[1] <= BRIDGED_S and _on_the_way(power_w, left, right):
            left[1] = right[0] = _parting(power_w, (left[0], left[1]), (right[0], right[1]))
    reach = MAX_WAY_S + 4
    for i, (a, b) in enumerate(out):
        before = slice(max(out[i - 1][1] if i else 0, a - reach), a)
        after = slice(b, min(out[i + 1][0] if i + 1 < len(out) else power_w.size, b + reach))
        level = float(np.median(power_w[a:b]))
        out[i] = [a - _way(power_w[before][::-1], blocked[before][::-1], level), b + _way(power_w[after], blocked[after], level)]
    return [(a, b) for a, b in out]


def _on_the_way(power_w: Floats, left: list[int], right: list[int]) -> bool:
    """Whether power goes straight from one level to the next, so that what lies between them belongs to one or the other."""
    levels = sorted(float(np.median(power_w[a:b])) for a, b in (left, right))
    between = ndimage.median_filter(power_w[left[1] : right[0]], 3, mode="nearest")
    stray = BRIEF_STRAY_FRAC if between.size <= BRIEF_S else STRAY_FRAC
    return bool(((between > (1 - stray) * levels[0]) & (between < (1 + stray) * levels[1])).all())


def _parting(power_w: Floats, left: Range, right: Range) -> int:
    """Where between two neighbours' middles the trace changes best from one level to the other."""
    low, high = (left[0] + left[1]) // 2, (right[0] + right[1]) // 2
    x = power_w[low:high]
    left_w, right_w = np.median(power_w[slice(*left)]), np.median(power_w[slice(*right)])
    cost = np.concatenate(([0.0], np.cumsum((x - left_w) ** 2 - (x - right_w) ** 2)))
    return low + int(np.argmin(cost))


def _way(beside_w: Floats, blocked: np.ndarray, level_w: float) -> int:
    """Seconds of the way from a hold's edge outward to half-height; `beside_w` runs away from the edge."""
    free = int(np.argmax(blocked)) if blocked.any() else blocked.size
    x = beside_w[:free]
    if x.size < 3:
        return 0
    away = x - level_w
    rest = float(np.median(away[:3]))
    for k in range(3, x.size - 2, 3):
        further = float(np.median(away[k : k + 3]))
        if abs(further) < 1.15 * abs(rest) or further * rest < 0:
            break
        rest = further
    beyond = np.flatnonzero(away / rest > 0.5) if rest else np.zeros(0, int)
    return int(beyond[0]) if beyond.size else 0


def _is_level(power_w: Floats) -> bool:
    """Whether power neither scatters nor climbs too much for a hold of this length, whatever is ridden around it."""
    spread, trend = fluctuation(power_w[min(8, power_w.size // 6) :])
    most_trend = float(np.interp(power_w.size, (MIN_HOLD_S, SURE_HOLD_S), (MAX_SHORT_TREND_FRAC, MAX_TREND_FRAC)))
    return spread is not None and trend is not None and spread <= MAX_SPREAD_FRAC and abs(trend) <= most_trend


def _is_sure(power_w: Floats) -> bool:
    """Whether power is held well enough for a hold of this length that stands alone."""
    if power_w.size >= SURE_HOLD_S:
        return _is_level(power_w)
    spread, trend = fluctuation(power_w[min(8, power_w.size // 6) :])
    lengths = (MIN_LONE_HOLD_S, SURE_HOLD_S)
    if power_w.size < MIN_LONE_HOLD_S:
        return False
    most_spread, most_trend = (float(np.interp(power_w.size, lengths, limit)) for limit in (LONE_SPREAD_FRAC, LONE_TREND_FRAC))
    return spread is not None and trend is not None and spread <= most_spread and abs(trend) <= most_trend


def _stands_out(power_w: Floats, piece: Range) -> bool:
    """Whether a hold is well above what is ridden on both sides of it."""
    a, b = piece
    sides = (power_w[max(a - AROUND_S, 0) : max(a - 3, 0)], power_w[b + 3 : b + AROUND_S])
    level = float(np.median(power_w[a:b]))
    return all(side.size == 0 or level > STANDS_OUT * float(np.percentile(side, STANDS_OUT_PCT)) for side in sides)


def _repeated(power_w: Floats, pieces: list[Range]) -> set[Range]:
    """Pieces of which there are several of one level and one length: a set of short holds."""
    if not pieces:
        return set()
    level = np.log([float(np.median(power_w[a:b])) for a, b in pieces])
    length = np.log([b - a for a, b in pieces])
    alike = (np.abs(level[:, None] - level) < REPEAT_LEVEL_FRAC) & (np.abs(length[:, None] - length) < REPEAT_LENGTH_FRAC)
    return {piece for piece, count in zip(pieces, alike.sum(axis=1), strict=True) if count >= REPEATS}


def _groups(pieces: list[Range], apart_s: int) -> list[list[Range]]:
    """Pieces in groups whose members follow each other within so many seconds."""
    groups: list[list[Range]] = []
    for piece in pieces:
        if groups and piece[0] - groups[-1][-1][1] <= apart_s:
            groups[-1].append(piece)
        else:
            groups.append([piece])
    return groups


def _is_set(group: list[Range], piece: Range, sure: set[Range]) -> bool:
    """Whether a piece that could be chance is part of a set: several that follow each other, or a sure hold among them."""
    long = sum(b - a >= MIN_BESIDE_HOLD_S for a, b in group)
    return piece[1] - piece[0] >= MIN_BESIDE_HOLD_S and (long >= MIN_SET or any(other in sure for other in group))
