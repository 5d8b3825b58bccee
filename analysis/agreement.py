"""Agreement of two devices over block means, and each device's own noise from three or more recordings.

Watts. Bias and limits after Bland and Altman (Lancet 1986;327:307-310); a line with errors in both (Deming); own noise
without a reference after Grubbs (J Am Stat Assoc 1948;43:243-264).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from analysis.blocks import Block
from analysis.errors import OutOfRange
from analysis.lines import Line, deming_line, passing_bablok, theil_sen
from analysis.numerals import plain
from analysis.traces import Floats
from analysis.trial import AlignedRecording, Trial

MIN_BLOCKS = 3  # with two blocks the spread rests on a single degree of freedom
LIMITS_Z = float(stats.norm.ppf(0.975))
# Blocks shorter than this carry more sampling noise than agreement.
MIN_BLOCK_S = 20.0
CORRELATION_NOTE = (
    "Correlation is no agreement: a device that reads 20 % high throughout correlates perfectly, and a wide range of power "
    "lifts the figure without any device becoming better."
)
# Fewer seconds than this cannot separate three devices' noise.
MIN_NOISE_SECONDS = 120
# Parts of the held seconds whose spread gives the error of a variance.
NOISE_PARTS = 10


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
class Proportional:
    """Slope of the difference on the mean, watts per watt: beside 0 the limits widen or tilt with power."""

    slope: float
    se: float
    p: float
    ci: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class OwnNoise:
    """One recording's own second-to-second scatter, told from the others; `noise_w` is None where it cannot be."""

    label: str
    noise_w: float | None
    variance_w2: float | None
    variance_ci_w2: tuple[float, float] | None
    seconds: int
    note: str


@dataclass(frozen=True, kw_only=True)
class Agreement:
    """One device against the reference; None where there are too few blocks. `basis` says what the pairs are.

    slope, intercept_w : Deming's line over block means, which rests on the reference's `range_w`. theil_sen and
    passing_bablok : the same without trust in single blocks. correlation stands beside the sentence why it is no agreement.
    """

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
    limits_ci_w: tuple[tuple[float, float], tuple[float, float]] | None = None
    proportional: Proportional | None = None
    slope_ci: tuple[float, float] | None = None
    intercept_ci_w: tuple[float, float] | None = None
    range_w: tuple[float, float] | None = None
    theil_sen: Line | None = None
    passing_bablok: Line | None = None
    correlation: float | None = None
    correlation_note: str = CORRELATION_NOTE
    noise_note: str = ""


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


def proportional_bias(device_w: ArrayLike, reference_w: ArrayLike) -> Proportional:
    """Least-squares slope of the difference on the mean of the two (Bland and Altman's plot), with its error and p.

    Raises OutOfRange under three pairs or where the means do not vary.
    """
    x, y = np.asarray(device_w, float), np.asarray(reference_w, float)
    if x.size < MIN_BLOCKS or not np.ptp(x + y) > 0:
        raise OutOfRange(f"A proportional bias needs {MIN_BLOCKS} pairs or more at different levels.")
    fit = stats.linregress((x + y) / 2, x - y)
    half = float(stats.t.ppf(0.975, x.size - 2)) * float(fit.stderr)
    return Proportional(
        slope=float(fit.slope), se=float(fit.stderr), p=float(fit.pvalue), ci=(float(fit.slope) - half, float(fit.slope) + half)
    )


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


def agreement_of(trial: Trial, label: str, blocks: Sequence[Block], noise: OwnNoise) -> Agreement:
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
    plain = Agreement(
        label=label, blocks=n, basis=basis, bias_w=None, bias_ci_w=None, limits_w=None, slope=None, intercept_w=None,
        noise_w=noise.noise_w, note=f"Only {n} usable blocks; at least {MIN_BLOCKS} are needed.", noise_note=noise.note,
    )  # fmt: skip
    if n < MIN_BLOCKS:
        return plain
    return _over_means(plain, device_ws[used] / covered[used], reference_ws[used] / covered[used])


def _over_means(plain: Agreement, device_w: Floats, reference_w: Floats) -> Agreement:
    limits = limits_of_agreement(device_w, reference_w)
    half = limits.limit_half_width_w
    low, high = limits.limits_w
    found = replace(
        plain, bias_w=limits.bias_w, bias_ci_w=limits.bias_ci_w, limits_w=limits.limits_w,
        limits_ci_w=((low - half, low + half), (high - half, high + half)),
        range_w=(float(reference_w.min()), float(reference_w.max())),
        note=f"The line rests on block means from {reference_w.min():.0f} to {reference_w.max():.0f} W.",
    )  # fmt: skip
    if not (np.ptp(reference_w) > 0 and np.ptp(device_w) > 0 and np.ptp(device_w + reference_w) > 0):
        return replace(found, note="All blocks lie at one level, which carries no line.")
    try:
        line, shifted = deming_line(reference_w, device_w), passing_bablok(reference_w, device_w)
    except OutOfRange:
        return replace(found, note="The two do not rise together over the blocks, so no line is stated.")
    return replace(
        found, slope=line.slope, intercept_w=line.intercept, slope_ci=line.slope_ci, intercept_ci_w=line.intercept_ci,
        proportional=proportional_bias(device_w, reference_w), theil_sen=theil_sen(reference_w, device_w),
        passing_bablok=shifted, correlation=float(np.corrcoef(reference_w, device_w)[0, 1]),
    )  # fmt: skip


def noise_of(trial: Trial, blocks: Sequence[Block]) -> tuple[OwnNoise, ...]:
    """Own one-second noise of every recording from held seconds that all cover, in the trial's order. [W]

    The traces are first brought to one level, so that a gain does not pass for noise. A negative variance stays what it
    is, "not resolvable": the data cannot tell that device's scatter from the others'.
    """
    if len(trial.labels) < 3:
        return tuple(_unresolved(label, 0, "Own noise takes three recordings or more.") for label in trial.labels)
    rows = np.stack([trial.per_second(label) for label in trial.labels])
    held = np.zeros(rows.shape[1], bool)
    for block in blocks:
        if block.kind == "steady":
            held[int(block.interior_start_s - trial.start_s) : int(block.interior_end_s - trial.start_s)] = True
    rows = rows[:, held & np.isfinite(rows).all(axis=0)]
    n = rows.shape[1]
    if n < MIN_NOISE_SECONDS:
        note = f"Only {n} held seconds are covered by all recordings; {MIN_NOISE_SECONDS} are needed for their own noise."
        return tuple(_unresolved(label, n, note) for label in trial.labels)
    level = rows.mean(axis=1)
    scale = level / level.mean()
    back = scale**2 / np.array([_kept_by_grid(r) for r in trial.recordings])
    parts = [back * own_variances(part) for part in np.array_split(rows / scale[:, None], NOISE_PARTS, axis=1)]
    variance = back * own_variances(rows / scale[:, None])
    half = float(stats.t.ppf(0.975, NOISE_PARTS - 1)) * np.std(parts, axis=0, ddof=1) / math.sqrt(NOISE_PARTS)
    return tuple(_own_noise(*each, n) for each in zip(trial.labels, variance, half, strict=True))


def _kept_by_grid(recording: AlignedRecording) -> float:
    """Share of a one-second reading's variance that is left after the trial's seconds have cut its samples.

    With a second made of (1 - p) of one sample and p of the next, half the mean squared successive difference of
    independent errors is ((1 - p)^2 + (1 - 2 p)^2 + p^2) / 2 of theirs: 1 on the grid, a quarter half-way.
    """
    if not 0.75 <= recording.interval_s <= 1.5:
        return 1.0
    p = np.mod(recording.time_s - 0.5, 1.0)
    return float(np.mean((1 - p) ** 2 + (1 - 2 * p) ** 2 + p * p)) / 2


def _own_noise(label: str, variance: float, half: float, n: int) -> OwnNoise:
    ci = (float(variance - half), float(variance + half))
    if variance <= 0:
        note = f"Not resolvable: its variance comes out negative ({plain(variance)} W²), so the others' scatter covers its own."
        return replace(_unresolved(label, n, note), variance_w2=float(variance), variance_ci_w2=ci)
    note = "" if ci[0] > 0 else "The interval of its variance reaches below zero: take the size as an upper bound."
    return OwnNoise(
        label=label, noise_w=math.sqrt(variance), variance_w2=float(variance), variance_ci_w2=ci, seconds=n,
        note=f"{note} Holds for errors that are independent; a lag or smoothing left in counts as noise.".strip(),
    )  # fmt: skip


def _unresolved(label: str, seconds: int, note: str) -> OwnNoise:
    return OwnNoise(label=label, noise_w=None, variance_w2=None, variance_ci_w2=None, seconds=seconds, note=note)
