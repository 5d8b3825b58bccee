"""Power from torque and cadence, a side doubled, a crank length set wrongly: closed forms of mechanics."""

import numpy as np
import pytest
from pytest import approx

from analysis.curves import torque_nm
from analysis.deltas import delta_over
from analysis.traces import pair_of, steps_of


@pytest.mark.parametrize(("power_w", "rpm", "nm"), [(282.743339, 90, 30.0), (78.539816, 60, 12.5), (350.0, 100, 33.422538)])
def test_torque_is_power_over_angular_velocity(power_w, rpm, nm):
    assert torque_nm(np.array([power_w]), np.array([float(rpm)]))[0] == approx(nm, abs=1e-6)


@pytest.mark.parametrize(("left_share", "error_pct"), [(0.45, -10.0), (0.48, -4.0), (0.50, 0.0), (0.52, 4.0)])
def test_a_left_side_doubled_is_off_by_twice_the_share_less_one(left_share, error_pct):
    """250 W at a left share of 48 % show as 240 W."""
    assert delta_of(np.full(300, 2 * left_share * 250.0), np.full(300, 250.0)) == approx(error_pct, abs=1e-6)


def test_a_crank_length_set_too_short_reads_low_by_its_share():
    """200 N at 90 rpm: 325.154840 W with 172.5 mm, 320.442451 W where 170 was entered."""
    assert delta_of(np.full(300, 320.442451), np.full(300, 325.154840)) == approx(-1.449275, abs=1e-6)


def test_chain_of_97_and_a_half_percent():
    """250 W at the crank are 243.75 W at the wheel."""
    assert delta_of(np.full(300, 243.75), np.full(300, 250.0)) == approx(-2.5, abs=1e-9)


def delta_of(device_w, reference_w):
    t = np.arange(float(device_w.size))
    pair = pair_of(steps_of(t, device_w, interval_s=1.0), steps_of(t, reference_w, interval_s=1.0))
    return delta_over(pair, "device", 10.0, 290.0).delta_pct
