"""A clock that stood still, or leapt, in the middle of a recording: stretches of it that each have a lag of their own.

A pause during which the stamps run on costs nothing; one during which they do not moves all that follows. Values on
one-second grids; a lag counts grid steps as in `matching`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.matching import Match, best_match
from analysis.refining import window_costs
from analysis.runs import runs
from analysis.traces import Floats

# Windows in which the whole's lag is tested, and those in which stretches are told apart. [s]
TEST_WINDOW_S = 180
WINDOW_S = 60
# A window whose best lag leaves more than this unexplained, or lies further off than drift could carry it, is doubted.
MAX_UNEXPLAINED = 0.5
MIN_STEP_S = 2
# Windows that leave less than this cannot be off by a leap.
NO_DOUBT_UNEXPLAINED = 0.06
LOCAL_REACH_S = 12
# Samples per independent one under the smoothing of `refining`, and what a change of lag must gain in log-likelihood.
CORRELATION_S = 4.0
CHANGE_COST = 15.0
# A stretch must be this long and match this well on its own to be believed. Common practice, no source.
MIN_PIECE_S = 120
MIN_CORRELATION = 0.7
MIN_MARGIN = 8.0
MAX_PIECES = 6


@dataclass(frozen=True, kw_only=True)
class GridPiece:
    """Indices [first, last) of the device's grid and the lag that holds in them."""

    first: int
    last: int
    lag: float
    lag_se: float
    correlation: float


@dataclass(frozen=True, kw_only=True)
class Stretches:
    """Two or more stretches in order, or none where one lag serves throughout or nothing surer can be said.

    unconfirmed : indices [first, last) at the beginning or the end of the device's grid that the lag does not fit and
        no other fits surely; None where there is no such stretch.
    """

    pieces: tuple[GridPiece, ...] = ()
    unconfirmed: tuple[int, int] | None = None


def find_pieces(
    device: Floats, reference: Floats, match: Match, *, settled: bool, proposed: Sequence[int] = ()
) -> Stretches:
    """Stretches of a device's grid with a lag of their own.

    proposed : lags that other signals have named.
    """
    lag = round(match.lag)
    x, y = match.ready
    doubted, elsewhere = _doubted(x, y, lag)
    if settled and not doubted and not elsewhere:
        return Stretches()
    edge = next(((a, b) for a, b in doubted if (a == 0) != (b == x.size)), None)
    lags = {lag, *(k for k, _ in match.rivals), *elsewhere, *proposed}
    for first, last in doubted[:MAX_PIECES]:
        if last - first <= 0.95 * x.size:
            local = best_match(device[first:last], reference)
            if local is not None and local.correlation >= MIN_CORRELATION and local.margin >= MIN_MARGIN:
                lags.add(round(local.lag) - first)
    path = _without_small_steps(_path(x, y, sorted(lags), lag))
    if not 2 <= len(path) <= MAX_PIECES:
        return Stretches(unconfirmed=edge)
    path = _sharp_edges(x, y, path)
    if any(b - a < MIN_PIECE_S for a, b, _ in path):
        return Stretches(unconfirmed=edge)
    pieces = [_measured(device, reference, *part) for part in path]
    if any(p is None for p in pieces):
        return Stretches(unconfirmed=edge)
    return Stretches(pieces=tuple(p for p in pieces if p is not None))


def _doubted(x: Floats, y: Floats, lag: int) -> tuple[list[tuple[int, int]], list[int]]:
    """Runs of windows that the whole's lag does not fit, as indices, and other lags nearby that fit some windows better."""
    edges = np.append(np.arange(0, max(x.size - TEST_WINDOW_S // 2, 1), TEST_WINDOW_S), x.size)
    slid = _slid(y, lag, x.size)
    plain = np.nan_to_num(window_costs(x, slid, edges, 0)[:, 0], nan=0.0)
    if (plain < NO_DOUBT_UNEXPLAINED).all() and not _outside(x, y, lag, edges).any():
        return [], []
    costs = window_costs(x, slid, edges, LOCAL_REACH_S)
    known = np.isfinite(costs).all(axis=1)
    costs = np.where(known[:, None], costs, 1.0)
    off, least = np.argmin(costs, axis=1) - LOCAL_REACH_S, costs.min(axis=1)
    here = costs[:, LOCAL_REACH_S]
    outside = _outside(x, y, lag, edges)
    bad = (known & (here > MAX_UNEXPLAINED)) | outside
    moved = known & (off != 0) & (least < MAX_UNEXPLAINED) & (here > 2 * least)
    return [(int(edges[a]), int(edges[b])) for a, b in runs(bad)], sorted({lag + int(k) for k in off[moved]})


def _outside(x: Floats, y: Floats, lag: int, edges: np.ndarray) -> np.ndarray:
    """Windows that the whole's lag carries past either end of the reference though it must have been riding on."""
    last_there = np.flatnonzero(np.isfinite(y))[[0, -1]]
    return (edges[1:] + lag <= last_there[0]) | (edges[:-1] + lag >= last_there[1])


def _slid(y: Floats, lag: int, size: int) -> Floats:
    """The reference as the device's grid sees it at a lag: out[k] = y[k + lag], missing outside."""
    out = np.full(size, np.nan)
    first, last = max(0, -lag), min(size, y.size - lag)
    if last > first:
        out[first:last] = y[first + lag : last + lag]
    return out


def _path(x: Floats, y: Floats, lags: Sequence[int], main: int) -> list[tuple[int, int, int]]:
    """Likeliest sequence of lags over short windows, each change at its cost; (first, last, lag) merged."""
    if len(lags) < 2 or x.size < 2 * MIN_PIECE_S:
        return []
    edges = np.append(np.arange(0, max(x.size - WINDOW_S, 1), WINDOW_S), x.size)
    left = np.stack([np.nan_to_num(window_costs(x, _slid(y, k, x.size), edges, 0)[:, 0], nan=1.0) for k in lags])
    score = -0.5 * np.diff(edges) / CORRELATION_S * np.log(np.maximum(left, 1e-3))
    best, came = score[:, 0].copy(), np.zeros(score.shape, int)
    for w in range(1, score.shape[1]):
        top = int(np.argmax(best))
        change = best[top] - CHANGE_COST > best
        came[:, w] = np.where(change, top, np.arange(len(lags)))
        best = np.where(change, best[top] - CHANGE_COST, best) + score[:, w]
    k, chosen = int(np.argmax(best)), []
    if best[k] - score[lags.index(main)].sum() < CHANGE_COST:
        return []
    for w in range(score.shape[1] - 1, -1, -1):
        chosen.append(k)
        k = int(came[k, w])
    chosen.reverse()
    path, start = [], 0
    for i in range(1, len(chosen) + 1):
        if i == len(chosen) or chosen[i] != chosen[start]:
            path.append((int(edges[start]), int(edges[i]), lags[chosen[start]]))
            start = i
    return path


def _without_small_steps(path: list[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    """Neighbours joined whose lags differ by less than a step that only a leap can make; drift and rounding remain."""
    out: list[tuple[int, int, int]] = []
    for part in path:
        if out and abs(part[2] - out[-1][2]) < MIN_STEP_S:
            longer = max(out[-1], part, key=lambda p: p[1] - p[0])
            out[-1] = (out[-1][0], part[1], longer[2])
        else:
            out.append(part)
    return out


def _sharp_edges(x: Floats, y: Floats, path: list[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    """Move each change to the second where it costs least; what the other clock never lived through is left out."""
    out = [list(part) for part in path]
    for a, b in itertools.pairwise(out):
        skipped = max(0, a[2] - b[2])  # the device ran on while the other's clock stood: these seconds have no place
        low, high = max(a[0], a[1] - WINDOW_S - skipped), min(b[1], b[0] + WINDOW_S + skipped)
        if high - low <= skipped:
            return []
        gain = np.nansum(x[low:high] ** 2) or 1.0
        errors = [np.nan_to_num((x - _slid(y, k, x.size))[low:high] ** 2, nan=gain / (high - low)) for k in (a[2], b[2])]
        before = np.concatenate(([0.0], np.cumsum(errors[0])))
        after = np.concatenate((np.cumsum(errors[1][::-1])[::-1], [0.0]))
        cost = before[: before.size - skipped] + after[skipped:]
        cut = low + int(np.argmin(cost))
        a[1], b[0] = cut, cut + skipped
    return [(a, b, k) for a, b, k in out]


def _measured(device: Floats, reference: Floats, first: int, last: int, lag: int) -> GridPiece | None:
    """Lag of one stretch on its own evidence, sought everywhere: a stretch that fits twice settles nothing."""
    match = best_match(device[first:last], reference)
    if match is None or match.correlation < MIN_CORRELATION or match.margin < MIN_MARGIN or abs(match.lag - first - lag) > 2:
        return None
    return GridPiece(
        first=first, last=last, lag=match.lag - first, lag_se=match.lag_se, correlation=match.correlation,
    )  # fmt: skip
