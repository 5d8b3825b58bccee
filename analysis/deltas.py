"""Device minus reference over a stretch, with an interval that knows that neighbouring seconds are correlated.

Watts, and percent of the reference's mean as a ratio of means. Only time that both devices cover counts;
a drop-out is neither a zero nor filled.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from analysis.traces import Floats, Pair

# "Blocked AR(1)" interval, see `mean_with_error`: block length, cap on the correlation, least degrees of freedom. Chosen by
# simulation: the nominal 95 % interval covers 93-97 % for AR(1) noise of 0.3 to 0.9 and 60 to 600 s
# (tests/published/test_autocorrelated_mean.py repeats the check).
BLOCK_S = 5
MAX_BLOCKS = 30
MAX_RHO = 0.95
MIN_DOF = 2.0
LEVEL = 0.95
# Under this many effective samples the interval is honest but says nothing: "too short to judge".
MIN_EFFECTIVE_N = 3.0
MIN_SECONDS = 4
# From this many stretches on their scatter carries the noise within them reliably; fewer may agree by luck (with 19 free
# stretches of a simulated ride the floor lifts the coverage from 84 to 96 %).
ENOUGH_STRETCHES = 40
# Where one stretch is all but everything, the others cannot tell how far off it is. A choice that keeps the sum finite.
MIN_REST_FRAC = 1e-6
# A reference that makes less than this has no percentage worth stating. Common practice, no source.
MIN_REFERENCE_W = 10.0


@dataclass(frozen=True, kw_only=True)
class MeanWithError:
    """Mean of an autocorrelated one-second series: standard error, effective sample size, 95 % interval."""

    mean: float
    se: float
    effective_n: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Delta:
    """One device against the reference over one stretch or several.

    n_s : common seconds. delta_pct : percent of the reference's mean. Intervals are 95 %; None where there are too few
    seconds for one. delta_pct_se : standard error, of one stretch from its seconds, of several from their scatter and never below
    what the seconds within them give. blocks : stretches that went in.
    enough : False when the stretch is too short to judge. Zeros are counted; `*_pedalling` leaves them out: only the time
    in which both devices read more than zero, so that neither can lose a reading of its own account.
    """

    label: str
    n_s: float
    mean_w: float | None
    reference_mean_w: float | None
    delta_w: float | None
    delta_w_ci: tuple[float, float] | None
    delta_pct: float | None
    delta_pct_ci: tuple[float, float] | None
    enough: bool
    blocks: int = 1
    delta_pct_se: float | None = None
    n_s_pedalling: float | None = None
    delta_w_pedalling: float | None = None
    delta_w_pedalling_ci: tuple[float, float] | None = None
    delta_pct_pedalling: float | None = None
    delta_pct_pedalling_ci: tuple[float, float] | None = None


def student_t(level: float, dof: float) -> float:
    """Two-sided quantile of Student's t; scipy's special function, twenty times quicker than its distribution object."""
    return float(special.stdtrit(dof, (1 + level) / 2))


def mean_with_error(x: Floats, *, level: float = LEVEL) -> MeanWithError | None:
    """Mean of a one-second series with the "blocked AR(1)" interval; None under 25 s, where no correlation can be seen.

    Means of blocks of max(5 s, n/30); their lag-1 correlation, corrected for its small-sample bias -(1 + 4 rho)/k
    (Kendall 1954); the exact variance of the mean of an AR(1) series; Student's t with the effective number less one.

    Parameters
    ----------
    x : shape (n,), any unit, no NaN.
    """
    b = max(BLOCK_S, x.size // MAX_BLOCKS)
    k = x.size // b
    if k < 5:
        return None
    means = x[: k * b].reshape(k, b).sum(axis=1) / b
    mean = float(means.sum()) / k
    e = means - mean
    power = float(e @ e)
    if power <= 1e-18 * max(1.0, mean**2):
        return MeanWithError(mean=mean, se=0.0, effective_n=float(k), low=mean, high=mean)
    r = float(e[1:] @ e[:-1]) / power
    rho = min(max((k * r + 1) / (k - 4), 0.0), MAX_RHO)
    factor = (1 + rho) / (1 - rho) - 2 * rho * (1 - rho**k) / (k * (1 - rho) ** 2)
    effective_n = k / factor
    variance = power / k / max(1 - 1 / effective_n, 0.05)
    se = math.sqrt(variance / effective_n)
    half = student_t(level, max(effective_n - 1, MIN_DOF)) * se
    return MeanWithError(mean=mean, se=se, effective_n=effective_n, low=mean - half, high=mean + half)


def delta_over(pair: Pair, label: str, start_s: float, end_s: float) -> Delta:
    """Delta over one stretch, zeros counted and zeros left out, its interval from the seconds within it."""
    return _with_pedalling(pair, _over(pair, label, start_s, end_s), lambda p: _over(p, label, start_s, end_s), start_s, end_s)


def delta_pooled(pair: Pair, label: str, stretches: Sequence[tuple[float, float]]) -> Delta:
    """Delta over several stretches, zeros counted and zeros left out; the stretches, not their seconds, are the replicates."""
    spans = [s for s in stretches if s[1] > s[0]]
    if not spans:
        return _nothing(label, 0.0)
    start, end = np.array(spans).T
    return _with_pedalling(pair, _pooled(pair, label, spans), lambda p: _pooled(p, label, spans), start, end)


def _with_pedalling(
    pair: Pair, counted: Delta, again: Callable[[Pair], Delta], start_s: ArrayLike, end_s: ArrayLike
) -> Delta:
    pedalled_s = float(np.sum(pair.pedalling.totals(start_s, end_s)[0]))
    without = counted if pedalled_s >= counted.n_s - 1e-6 else again(pair.pedalling)
    return replace(
        counted, n_s_pedalling=pedalled_s, delta_w_pedalling=without.delta_w, delta_w_pedalling_ci=without.delta_w_ci,
        delta_pct_pedalling=without.delta_pct, delta_pct_pedalling_ci=without.delta_pct_ci,
    )  # fmt: skip


def _over(pair: Pair, label: str, start_s: float, end_s: float) -> Delta:
    """One stretch of a pair as it stands.

    The percentage's interval is that of `device - ratio * reference`, the ratio of means linearised, so that a
    reference that itself varies within the stretch widens nothing.
    """
    covered, device_ws, reference_ws = (float(v) for v in pair.totals(start_s, end_s))
    if covered < 1.0:
        return _nothing(label, covered)
    mean, reference = device_ws / covered, reference_ws / covered
    device_w, reference_w = pair.by_second(start_s, end_s)
    watts = mean_with_error(device_w - reference_w) if device_w.size >= MIN_SECONDS else None
    ratio = mean / reference if reference >= MIN_REFERENCE_W else None
    share = mean_with_error(device_w - ratio * reference_w) if ratio is not None and watts is not None else None
    half_w = None if watts is None else (watts.high - watts.low) / 2
    half_pct = None if share is None else 100 * (share.high - share.low) / 2 / reference
    delta_w, delta_pct = mean - reference, None if ratio is None else 100 * (ratio - 1)
    return Delta(
        label=label, n_s=covered, mean_w=mean, reference_mean_w=reference,
        delta_w=delta_w, delta_w_ci=_around(delta_w, half_w),
        delta_pct=delta_pct, delta_pct_ci=_around(delta_pct, half_pct),
        enough=watts is not None and min(watts.effective_n, (share or watts).effective_n) >= MIN_EFFECTIVE_N,
        delta_pct_se=None if share is None else 100 * share.se / reference,
    )  # fmt: skip


def _pooled(pair: Pair, label: str, spans: Sequence[tuple[float, float]]) -> Delta:
    """Several stretches of a pair as it stands.

    Ratio of summed works. Its error is the delete-one jackknife's, with the stretches as clusters,
    sqrt((k-1)/k sum (e / (1 - share))^2) / sum reference with e = device work - ratio * reference work and a stretch's share
    of the reference's work, and Student's t with k - 1 (Wu, Ann Stat 1986;14:1261-1295; from memory): the mean follows a long
    stretch, so that its plain residual hides how far off it is. Under forty stretches never smaller than the seconds within
    them alone give. One stretch falls back on its seconds.
    """
    if len(spans) == 1:
        return _over(pair, label, *spans[0])
    start, end = np.array(spans).T
    covered, device_ws, reference_ws = pair.totals(start, end)
    used = covered >= 1.0
    total_s, k = float(covered.sum()), int(used.sum())
    if total_s < 1.0:
        return _nothing(label, total_s)
    if k == 1:
        return _over(pair, label, *spans[int(np.argmax(used))])
    mean, reference = float(device_ws.sum()) / total_s, float(reference_ws.sum()) / total_s
    ratio = mean / reference if reference >= MIN_REFERENCE_W else None
    t = student_t(LEVEL, k - 1)
    se_w = _jackknife(device_ws - reference_ws - covered * (mean - reference), covered, used)
    se_pct = None if ratio is None else 100 * _jackknife(device_ws - ratio * reference_ws, reference_ws, used)
    within_w = within_pct = 0.0
    if k < ENOUGH_STRETCHES:
        within_w, within_pct = _within(pair, [s for s, u in zip(spans, used, strict=True) if u], ratio, total_s, reference)
    z = float(special.ndtri((1 + LEVEL) / 2))
    half_pct = None if se_pct is None else max(t * se_pct, z * within_pct)
    delta_w, delta_pct = mean - reference, None if ratio is None else 100 * (ratio - 1)
    return Delta(
        label=label, n_s=total_s, mean_w=mean, reference_mean_w=reference,
        delta_w=delta_w, delta_w_ci=_around(delta_w, max(t * se_w, z * within_w)),
        delta_pct=delta_pct, delta_pct_ci=_around(delta_pct, half_pct),
        enough=True, blocks=k, delta_pct_se=None if se_pct is None else max(se_pct, within_pct),
    )  # fmt: skip


def _jackknife(residual: Floats, weight: Floats, used: NDArray[np.bool_]) -> float:
    """Standard error of a ratio of sums by leaving out each stretch in turn; residual over weight is in the ratio's unit."""
    total, k = float(weight.sum()), int(used.sum())
    rest = np.maximum(1 - weight[used] / total, MIN_REST_FRAC)
    return math.sqrt((k - 1) / k) * float(np.linalg.norm(residual[used] / rest)) / total


def _within(
    pair: Pair, spans: list[tuple[float, float]], ratio: float | None, total_s: float, reference_w: float
) -> tuple[float, float]:
    """Standard errors that the seconds within the stretches alone give, as if the stretches agreed perfectly."""
    watts = share = 0.0
    for start, end in spans:
        device_w, second_w = pair.by_second(start, end)
        for_watts = mean_with_error(device_w - second_w)
        for_share = None if ratio is None else mean_with_error(device_w - ratio * second_w)
        watts += 0.0 if for_watts is None else (for_watts.se * device_w.size) ** 2
        share += 0.0 if for_share is None else (for_share.se * device_w.size) ** 2
    in_pct = 0.0 if ratio is None else 100 * math.sqrt(share) / total_s / reference_w
    return math.sqrt(watts) / total_s, in_pct


def _around(centre: float | None, half: float | None) -> tuple[float, float] | None:
    return None if centre is None or half is None else (centre - half, centre + half)


def _nothing(label: str, covered_s: float) -> Delta:
    return Delta(
        label=label, n_s=covered_s, mean_w=None, reference_mean_w=None, delta_w=None, delta_w_ci=None, delta_pct=None,
        delta_pct_ci=None, enough=False, blocks=0,
    )  # fmt: skip
