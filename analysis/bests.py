"""Best mean power over 1 s to 20 min, device against reference, with bands from resampled device noise.

Watts and percent of the reference's best; seconds that both devices cover only.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.blocks import Block
from analysis.traces import Floats
from analysis.trial import Trial

DURATIONS_S = (1, 5, 10, 15, 30, 60, 300, 1200)
# A window counts with this share of its seconds; a lost second must not cost twenty minutes.
MIN_COVER = 0.98
# Noise is drawn in stretches this long, so that its correlation over seconds is kept. [s]
NOISE_BLOCK_S = 30
REPLICAS = 120
# Only the reference's best windows can hold the best of a resampled trace.
CANDIDATES = 256
# Noise is taken to grow with power from this much on; it keeps rest seconds from weighing without bound. [W]
NOISE_FLOOR_W = 20.0
# Noise is taken from seconds around which power stays within this share of itself: where it jumps, a difference is response.
CALM_S = 2
CALM_FRAC = 0.4
Z = 1.959964


@dataclass(frozen=True, kw_only=True)
class Best:
    """Best mean over `duration_s` of both, where each begins (trial's clock), and how they differ with a 95 % band.

    noise_adds_pct : by how much the device's noise alone lifts its best, because a maximum picks lucky seconds.
    """

    duration_s: int
    best_w: float
    reference_best_w: float
    at_s: float
    reference_at_s: float
    delta_w: float
    delta_pct: float
    delta_pct_ci: tuple[float, float]
    noise_adds_pct: float


@dataclass(frozen=True, kw_only=True)
class Bests:
    """One device's best means against the reference's."""

    label: str
    values: tuple[Best, ...]
    note: str = (
        "Best means of the seconds that both cover, excluded blocks left out. The band holds device noise, resampled in "
        "stretches of 30 s, and not that the best second depends on where the seconds begin."
    )


def bests_of(trial: Trial, label: str, *, lag_s: float | None, excluded: Sequence[Block] = ()) -> Bests:
    """Best means of one device; durations that the common seconds do not reach are left out.

    lag_s : response lag, taken out of the noise to be resampled (not of the trace itself).
    excluded : blocks that the reviewer left out; no best may rest on their seconds.
    """
    device, reference = trial.per_second(label), trial.per_second(trial.reference)
    both = np.isfinite(device) & np.isfinite(reference)
    for block in excluded:
        both[(trial.second_s >= block.start_s) & (trial.second_s < block.end_s)] = False
    if both.sum() < NOISE_BLOCK_S or not reference[both].sum() > 0:
        return Bests(label=label, values=())
    device, reference = np.where(both, device, 0.0), np.where(both, reference, 0.0)
    gain, noise = _noise(device, reference, both, round(lag_s or 0.0))
    if noise.size < NOISE_BLOCK_S:
        return Bests(label=label, values=())
    replicas = _running(_resampled(noise, reference.size, device) * (reference + NOISE_FLOOR_W) * both)
    covered, ours, theirs = _running(both.astype(float)), _running(device), _running(reference)
    found = []
    for duration in DURATIONS_S:
        start = np.arange(both.size - duration + 1)
        seconds = covered[duration:] - covered[:-duration] if start.size > 0 else np.empty(0)
        whole = np.flatnonzero(seconds >= MIN_COVER * duration)
        if not whole.size:
            continue
        mean, other = ((total[whole + duration] - total[whole]) / seconds[whole] for total in (ours, theirs))
        if not other.max() > 0:
            continue
        top = np.argpartition(other, -CANDIDATES)[-CANDIDATES:] if other.size > CANDIDATES else np.arange(other.size)
        at = whole[top]
        drawn = (gain * other[top] + (replicas[:, at + duration] - replicas[:, at]) / seconds[at]).max(axis=1)
        found.append(_best(trial, duration, whole, mean, other, drawn, gain))
    return Bests(label=label, values=tuple(found))


def _best(trial: Trial, duration: int, at: np.ndarray, mean: Floats, other: Floats, drawn: Floats, gain: float) -> Best:
    i, j = int(np.argmax(mean)), int(np.argmax(other))
    best, reference = float(mean[i]), float(other[j])
    delta, half = 100 * (best / reference - 1), 100 * Z * float(drawn.std(ddof=1)) / reference
    return Best(
        duration_s=duration, best_w=best, reference_best_w=reference, at_s=float(trial.start_s + at[i]),
        reference_at_s=float(trial.start_s + at[j]), delta_w=best - reference, delta_pct=delta,
        delta_pct_ci=(delta - half, delta + half), noise_adds_pct=100 * (float(drawn.mean()) / (gain * reference) - 1),
    )  # fmt: skip


def _noise(device: Floats, reference: Floats, both: np.ndarray, lag: int) -> tuple[float, Floats]:
    """Ratio of the works, and what is left of the device beside it, as a share of power; the lag taken out."""
    gain = float(device.sum() / reference.sum())
    late = np.roll(device, -lag)
    there = both & np.roll(both, -lag) & (reference > NOISE_FLOOR_W)
    around = np.lib.stride_tricks.sliding_window_view(np.pad(reference, CALM_S, mode="edge"), 2 * CALM_S + 1)
    calm = there & (np.ptp(around, axis=1) < CALM_FRAC * reference)
    chosen = calm if calm.sum() >= 2 * NOISE_BLOCK_S else there
    return gain, ((late - gain * reference) / (reference + NOISE_FLOOR_W))[chosen]


def _resampled(noise: Floats, n: int, content: Floats) -> Floats:
    """Rows of noise put together from random stretches, shape (REPLICAS, n); the seed is the content, not the clock."""
    rng = np.random.default_rng(zlib.crc32(np.ascontiguousarray(content).tobytes()))
    length = min(NOISE_BLOCK_S, noise.size)
    stretches = -(-n // length)
    starts = rng.integers(0, noise.size - length + 1, (REPLICAS, stretches))
    windows = np.lib.stride_tricks.sliding_window_view(noise.astype(np.float32), length)
    return windows[starts].reshape(REPLICAS, -1)[:, :n]


def _running(values: Floats) -> Floats:
    """0, then the running total along the last axis."""
    total = np.cumsum(values, axis=-1, dtype=float)
    return np.concatenate((np.zeros((*total.shape[:-1], 1)), total), axis=-1)
