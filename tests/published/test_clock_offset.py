"""Sub-second offset of two noisy copies against the Cramer-Rao bound (Kay 1993, one noisy copy, from memory; times sqrt 2).

Trace: 600 s at 1 Hz, eight edges of 100-250 W smoothed by a 3 s Gaussian, four sinusoids; noise of 3 W on each copy.
"""

import numpy as np
from scipy.special import erf

from analysis.matching import best_match

EDGES = [(60, 100), (180, -100), (240, 150), (330, -150), (390, 250), (420, -250), (480, 100), (570, -100)]
WAVES = [(47, 4, 0.3), (23, 3, 1.1), (13, 2, 2.0), (9, 1.5, 0.7)]
BOUND_S = 0.029653  # sqrt(2) * sigma / sqrt(sum of squared slopes), sigma = 3 W, sum 20471.26


def trace(t):
    y = 100.0 + sum(0.5 * step * (1 + erf((t - at) / (3 * np.sqrt(2)))) for at, step in EDGES)
    return y + sum(size * np.sin(2 * np.pi * t / period + phase) for period, size, phase in WAVES)


def test_offset_error_stays_near_the_cramer_rao_bound_and_is_stated_honestly():
    rng = np.random.default_rng(42)
    t, errors, stated = np.arange(600.0), [], []
    for _ in range(300):
        late = rng.uniform(-5, 5)
        match = best_match(trace(t - late) + rng.normal(0, 3, 600), trace(t) + rng.normal(0, 3, 600))
        errors.append(match.lag + late)
        stated.append(match.lag_se)
    rmse = float(np.sqrt(np.mean(np.square(errors))))
    # a good method reaches 0.95-1.5 times the bound; below 0.9 it would know more than the data
    assert 0.9 * BOUND_S < rmse < 1.5 * BOUND_S
    assert 0.90 <= np.mean(np.abs(errors) <= 1.96 * np.array(stated)) <= 1.0


def test_slope_energy_of_the_trace_is_the_published_one():
    t = np.arange(600.0)
    assert abs(float((((trace(t + 1e-4) - trace(t - 1e-4)) / 2e-4) ** 2).sum()) - 20471.26) < 1.0
