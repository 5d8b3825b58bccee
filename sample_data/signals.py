"""Arrays a ride is made of: noise, levels joined by entries, means over windows. Numpy only."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

TRUTH_HZ = 10


def profile(pieces: Sequence[tuple[int, float, float, float]]) -> np.ndarray:
    """Levels joined by raised-cosine entries; each piece is (samples, level, entry_s, share it fades by)."""
    parts, before = [], pieces[0][1]
    for n, level, entry_s, fade_frac in pieces:
        along = (np.arange(n) + 0.5) / n
        target = level * (1.0 + fade_frac * (0.5 - along))
        weight = 0.5 - 0.5 * np.cos(np.pi * np.clip((np.arange(n) + 1) / (entry_s * TRUTH_HZ), 0.0, 1.0))
        parts.append(before + (target - before) * weight)
        before = parts[-1][-1]
    return np.concatenate(parts)


def noise(rng: np.random.Generator, n: int, tau_s: float, hz: float = TRUTH_HZ) -> np.ndarray:
    """First-order autoregressive noise of unit variance; the impulse response is cut after six time constants."""
    response = np.exp(-np.arange(int(6 * tau_s * hz)) / (tau_s * hz))
    white = rng.standard_normal(n + len(response) - 1)
    return np.convolve(white, response / np.sqrt(np.sum(response**2)), mode="valid")


def slow_noise(rng: np.random.Generator, n: int, tau_s: float) -> np.ndarray:
    """The same noise for long time constants: made once a second and joined by straight lines."""
    seconds = n // TRUTH_HZ + 2
    return np.interp(np.arange(n) / TRUTH_HZ, np.arange(seconds), noise(rng, seconds, tau_s, hz=1.0))


def window_mean(values: np.ndarray, middle_s: np.ndarray, width_s: float) -> np.ndarray:
    """Mean of a truth channel over windows around `middle_s`; a window is cut where the ride begins and ends."""
    edges_s = np.arange(len(values) + 1) / TRUTH_HZ
    total = np.concatenate([[0.0], np.cumsum(values)]) / TRUTH_HZ
    shortest = 1.0 / TRUTH_HZ
    left = np.clip(middle_s - width_s / 2.0, 0.0, edges_s[-1] - shortest)
    right = np.clip(middle_s + width_s / 2.0, left + shortest, edges_s[-1])
    return (np.interp(right, edges_s, total) - np.interp(left, edges_s, total)) / (right - left)


def inside(time_s: np.ndarray, spans: Sequence[tuple[float, float]]) -> np.ndarray:
    """Which of the times lie in any of the spans [from, to)."""
    within = np.zeros(len(time_s), dtype=bool)
    for lo, hi in spans:
        within |= (time_s >= lo) & (time_s < hi)
    return within
