"""JCGM 100:2008 worked example of Welch-Satterthwaite (G.4.1, H.1 style figures from memory), En score, and JCGM 101 simulation.

En: formula and k = 2 remark of the NIST Dataplot page on the En score.
"""


import numpy as np
import pytest
from pytest import approx

from analysis.allowance import allowance_between, downstream_above
from analysis.budget import Source, combine, en_score, rectangular
from analysis.errors import OutOfRange
from analysis.kinetic import stored_power_w

BUDGET = [
    Source(name="claim", standard=rectangular(0.015 * 250)), Source(name="efficiency", standard=rectangular(0.01 * 250)),
    Source(name="repeatability", standard=0.9, dof=5), Source(name="resolution", standard=rectangular(0.5)),
]  # fmt: skip


def test_welch_satterthwaite_example_of_the_guide():
    got = combine([Source(name=n, standard=u, dof=d) for n, u, d in (("a", 0.25, 9), ("b", 0.57, 4), ("c", 0.82, 14))])
    assert (got.standard, got.dof) == (approx(1.03, abs=0.005), approx(18.9987, abs=1e-3))
    assert (got.k_95, got.expanded_95) == (approx(2.09, abs=0.005), approx(2.2, abs=0.05))


def test_budget_at_250_w():
    got = combine(BUDGET)
    assert [s.standard for s in BUDGET] == approx([2.165064, 1.443376, 0.9, 0.288675], abs=1e-5)
    assert (got.standard, got.dof, got.k_95) == (approx(2.768423, abs=1e-5), approx(447.64, abs=0.01), approx(1.965278, abs=1e-5))
    assert (got.expanded_k2, got.expanded_95) == (approx(5.536846, abs=1e-5), approx(5.440720, abs=1e-5))


def test_expanded_uncertainty_is_near_that_of_simulation():
    """JCGM 101: propagate the distributions, the repeatability as a scaled t (6.4.9); 5.415 from a million draws elsewhere."""
    rng, n = np.random.default_rng(3), 400_000
    total = rng.uniform(-3.75, 3.75, n) + rng.uniform(-2.5, 2.5, n) + 0.9 * rng.standard_t(5, n) + rng.uniform(-0.5, 0.5, n)
    half = np.quantile(np.abs(total), 0.95)
    assert half == approx(5.415, abs=0.03)
    assert half == approx(combine(BUDGET).expanded_95, abs=0.06)


def test_rectangular_shares():
    assert rectangular(0.40) == approx(0.23, abs=0.005)  # the guide's copper example


def test_en_scores():
    assert en_score(251, 246, expanded=5.0, expanded_expected=3.7) == approx(0.803842, abs=1e-6)
    assert en_score(246, 251, expanded=3.7, expanded_expected=5.0) == approx(-0.803842, abs=1e-6)
    assert en_score(258, 246, expanded=5.0, expanded_expected=3.7) == approx(1.929221, abs=1e-6)


def test_what_has_no_uncertainty_has_no_score():
    with pytest.raises(OutOfRange):
        en_score(1, 2, expanded=0, expanded_expected=0)
    with pytest.raises(OutOfRange):
        combine([])


@pytest.mark.parametrize("ratio", [1.0, 0.97, 1.02])
@pytest.mark.parametrize(("up", "down", "loss"), [(1, 1, (1, 5)), (2, 1.5, (1, 4)), (3, 0, (2, 2)), (0.5, 4, (0, 5))])
def test_probability_of_the_impossible_order_equals_simulation(up, down, loss, ratio):
    rng, n = np.random.default_rng(4), 400_000
    reading_up = 1 + rng.uniform(-up, up, n) / 100
    reading_down = (1 - rng.uniform(*loss, n) / 100) * (1 + rng.uniform(-down, down, n) / 100)
    got = downstream_above(upstream_claim_pct=up, downstream_claim_pct=down, loss_pct=loss, ratio=ratio)
    assert got == approx(np.mean(reading_down > ratio * reading_up), abs=0.0035)  # four standard errors of the simulation


def test_probability_without_loss_is_even_and_with_perfect_devices_is_none():
    same = {"upstream_claim_pct": 1.0, "downstream_claim_pct": 1.0}
    assert downstream_above(**same, loss_pct=(0, 0)) == approx(0.5)
    assert downstream_above(upstream_claim_pct=0, downstream_claim_pct=0, loss_pct=(1, 5)) == 0.0
    beyond = downstream_above(**same, loss_pct=(1, 5), ratio=1.011)
    assert beyond == 0.0  # at most 0.99 * 1.01 / 0.99


def test_allowance_states_which_device_is_downstream():
    claims = {"claim_pct": 1.0, "reference_claim_pct": 1.0, "loss_pct": (1.0, 5.0)}
    assert allowance_between("pedal", "hub", **claims).downstream == "reference"
    assert allowance_between("hub", "pedal", **claims).downstream == "device"
    assert allowance_between("pedal", "crank", **claims).downstream_higher_prob is None
    # by hand, to first order: the mean over losses m from 1 to 5 of (2 - m)^2 / 8, the tail of a triangle
    one, other = allowance_between("pedal", "hub", **claims), allowance_between("hub", "pedal", **claims)
    assert one.downstream_higher_prob == other.downstream_higher_prob == approx(1 / 96, rel=0.05)


def test_energy_stored_in_a_sprint():
    """10 kg from 8 to 14 m/s in 6 s: m (v2^2 - v1^2) / 2t = 110 W."""
    assert stored_power_w(10, 8, 14, 6) == approx(110.0)
    assert stored_power_w(10, 14, 8, 6) == approx(-110.0)
