"""Referee: trials in which nothing can be known. False certainty is the worst failure of aligning."""

import numpy as np
import pytest
from scipy.signal import lfilter

from analysis.aligning import align
from made import recording

N = 1800


def wander(rng, tau_s, size):
    keep = np.exp(-1 / tau_s)
    return lfilter([size * np.sqrt(1 - keep**2)], [1, -keep], rng.normal(size=N + 500))[500:]


def flat(rng):
    """Held power; each recorder has its own noise, its own strap and its own cadence sensor."""
    return [
        {"power_w": 200 + wander(rng, 6, 6), "heart_rate_bpm": np.round(150 + wander(rng, 20, 3)),
         "cadence_rpm": np.round(90 + wander(rng, 5, 2))}
        for _ in "ab"
    ]  # fmt: skip


def walks(rng):
    """Both wander without end, each its own way."""
    return [{"power_w": 200 + np.cumsum(rng.normal(size=N)), "heart_rate_bpm": 150 + np.cumsum(rng.normal(0, 0.2, N))}
            for _ in "ab"]  # fmt: skip


def periodic(rng):
    """Intervals of equal length, again and again; nothing but the devices' own noise tells one from the next."""
    period, share, phase = rng.integers(20, 300), rng.uniform(0.3, 0.7), rng.integers(0, 300)
    at = (np.arange(N) + phase) % period
    hard, beat = at < share * period, 140 + 10 * np.sin(2 * np.pi * at / period)
    level, with_heart = rng.uniform(20, 150), bool(rng.integers(2))
    made = [{"power_w": 200 + level * hard + rng.normal(0, 3, N)} for _ in "ab"]
    if with_heart:
        for one in made:
            one["heart_rate_bpm"] = np.round(beat + rng.normal(size=N))
            one["cadence_rpm"] = np.round(90 + 5 * hard + rng.normal(0, 0.5, N))
    return made


def periodic_and_stopped(rng):
    """The same, and one recorder left out some minutes without its stamps showing it."""
    a, b = periodic(rng)
    at, length = int(rng.integers(400, 1400)), int(rng.integers(30, 300))
    kept = np.r_[0:at, min(at + length, N) : N]
    return [{k: v[kept] for k, v in a.items()}, b]


@pytest.mark.parametrize("trial", [flat, walks, periodic, periodic_and_stopped])
def test_nothing_is_settled_in_200_trials_without_an_answer(trial):
    """50 trials of each of four kinds."""
    for seed in range(50):
        a, b = ({**v, "time_s": 1.7e9 + np.arange(v["power_w"].size)} for v in trial(np.random.default_rng(seed)))
        got = align(recording(a, "a"), recording(b, "b"), label="a")
        assert not got.settled, seed
        assert got.shift_se_s is None
        assert not got.drift_applied
        assert "by hand" in got.note


def test_an_ambiguous_match_shows_its_candidates_and_rivals():
    rng = np.random.default_rng(3)
    base = 200 + 100 * ((np.arange(N) % 60) < 40)
    a, b = ({"time_s": 1.7e9 + np.arange(N), "power_w": base + rng.normal(0, 3, N)} for _ in "ab")
    got = align(recording(a, "a"), recording(b, "b"), label="a")
    shifts = (got.candidates[0].shift_s, *got.candidates[0].rival_shifts_s)
    assert len(shifts) >= 3
    assert all(abs(s / 60 - round(s / 60)) < 0.02 for s in shifts)
    assert abs(got.shift_s) < 1  # of equal peaks the one that the clocks favour
    assert not any(c.used for c in got.candidates)
