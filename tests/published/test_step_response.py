"""Transition duration, instants and overshoot in the terms of IEEE Std 181, on steps with a closed form."""

import numpy as np
import pytest
from pytest import approx

from analysis.transitions import rising_transition


def test_textbook_row_of_samples():
    got = rising_transition(np.array([0, 0, 0, 0, 0, 20, 60, 100, 108, 101, 99, 100, 100, 100, 100], float))
    assert (got.low_state, got.high_state) == (0.0, 100.0)
    assert got.duration == approx(2.25, abs=1e-9)
    assert got.at_50 == approx(5.75, abs=1e-9)
    assert got.overshoot_pct == approx(8.0, abs=1e-9)


@pytest.mark.parametrize(("width", "duration", "delay"), [(1, 0.8, -0.5), (3, 2.4, 0.5), (5, 4.0, 1.5), (10, 8.0, 4.0)])
def test_moving_mean_of_a_step_rises_in_eight_tenths_of_its_width(width, duration, delay):
    step = np.where(np.arange(60) < 30, 0.0, 200.0)
    smoothed = np.convolve(step, np.full(width, 1 / width), mode="full")[:60]
    got = rising_transition(smoothed)
    assert got.duration == approx(duration, abs=1e-9)
    assert got.at_50 - 30 == approx(delay, abs=1e-9)


def test_first_order_lag_of_two_seconds_at_one_hertz():
    """10-90 % of a first-order lag is ln 9 tau = 4.394 s; sampled at 1 Hz and joined by lines, 4.409420 s."""
    t = np.arange(80.0)
    got = rising_transition(np.where(t < 20, 0.0, 1 - np.exp(-(t - 20) / 2.0)))
    assert got.duration == approx(4.409420, abs=1e-5)


def test_nothing_is_measured_where_nothing_rises():
    assert rising_transition(np.full(30, 200.0)) is None
    assert rising_transition(np.linspace(300, 100, 30)) is None
