"""Allowance against closed forms of JCGM 100:2008 and a rule of the trade."""

import math

import numpy as np
import pytest
from pytest import approx

from analysis.allowance import allowance_between
from analysis.verdict import verdict_on


def between(point, reference, *, claims=(1.0, 1.0), loss=(0.0, 5.0)):
    return allowance_between(point, reference, claim_pct=claims[0], reference_claim_pct=claims[1], loss_pct=loss)


def test_trade_rule_one_and_one_and_five_make_about_seven():
    """Common practice, no source: claims of 1 % and 1 % with a generous 5 % chain loss add up to about 7 %."""
    got = between("pedal", "hub")
    assert got.worst_pct[1] == approx(7.0, abs=0.5)
    assert got.worst_pct[1] == approx(100 * (1 / 0.95 * 1.01 / 0.99 - 1), abs=1e-12)


@pytest.mark.parametrize(("delta_pct", "word"), [(10.0, "outside"), (5.0, "within"), (6.0, "within"), (7.3, "unsettled")])
def test_trade_rule_ten_is_outside_and_five_to_six_within(delta_pct, word):
    """Common practice, no source. The interval of +-0.5 points is that of a few three-minute holds."""
    worst = between("pedal", "hub").worst_pct
    assert verdict_on(delta_pct, (delta_pct - 0.5, delta_pct + 0.5), worst, enough=True).word == word


def test_likely_allowance_adds_rectangular_parts_in_quadrature():
    """JCGM 100:2008: half-width / sqrt(3) (4.3.7), root sum of squares (5.1.2), expanded with k = 2 (6.3.3)."""
    got = between("spider", "crank", claims=(1.5, 2.0))
    u = math.sqrt(1.5**2 / 3 + 2.0**2 / 3)
    assert got.likely_pct == approx((-2 * u, 2 * u), abs=1e-12)


def test_likely_allowance_matches_monte_carlo_propagation():
    """JCGM 101:2008: propagate the distributions by simulation; a second method for the same k = 2 interval."""
    rng = np.random.default_rng(5)
    n = 400_000
    device, reference = 1 + rng.uniform(-0.015, 0.015, n), 1 + rng.uniform(-0.02, 0.02, n)
    ratio = rng.uniform(1 / 0.99, 1 / 0.96, n) * device / reference
    got = between("pedal", "trainer", claims=(1.5, 2.0), loss=(1.0, 4.0))
    # first-order propagation leaves out terms of the order of claim squared, 0.04 points
    low, high = (100 * (ratio.mean() + k * ratio.std() - 1) for k in (-2, 2))
    assert got.likely_pct == approx((low, high), abs=0.05)


def test_swapping_device_and_reference_inverts_the_worst_case():
    one, other = between("pedal", "hub", claims=(1.5, 2.0), loss=(1, 4)), between("hub", "pedal", claims=(2.0, 1.5), loss=(1, 4))
    assert 1 + one.worst_pct[0] / 100 == approx(1 / (1 + other.worst_pct[1] / 100), rel=1e-12)
    assert 1 + one.worst_pct[1] / 100 == approx(1 / (1 + other.worst_pct[0] / 100), rel=1e-12)


def test_same_side_of_the_chain_has_no_loss():
    before = between("pedal", "spider", claims=(1, 1), loss=(1, 5))
    assert before.worst_pct == between("hub", "trainer", claims=(1, 1), loss=(9, 9)).worst_pct


def test_unstated_point_takes_the_widest_of_the_orders_it_may_be_in():
    unknown = between(None, "hub").worst_pct
    for point in ("pedal", "crank", "spider", "hub", "trainer", "roller"):
        known = between(point, "hub").worst_pct
        assert unknown[0] <= known[0] + 1e-12
        assert known[1] <= unknown[1] + 1e-12


def test_parts_are_listed_so_that_a_reader_can_add_them():
    parts = between("pedal", "hub", claims=(1.5, 2.0), loss=(1, 4)).parts
    high = math.prod(1 + p.high_pct / 100 for p in parts)
    assert 100 * (high - 1) == approx(between("pedal", "hub", claims=(1.5, 2.0), loss=(1, 4)).worst_pct[1], abs=1e-9)
