"""What a plan can settle, and its card. Referees: closed form of the allowance, simulated series of trials, the ride."""

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy import special

from analysis.default_design import core_design, default_design
from analysis.designing import Aim, Design, Exercise, Part, counted_steps, plan_steps, ridden, total_s
from analysis.errors import BadSetup
from analysis.forecast import DEFAULT_NOISE, forecast
from analysis.ride_card import card_lines
from analysis.settling import BESIDE, MEASURED, NEVER, ONE_TRIAL, TIGHTER, TRIALS, settling, ways_out

ALIKE = Aim(claim_pct=1.5, reference_claim_pct=0.5, point="pedal", reference_point="spider")


def asked(aim: Aim, design=None):
    return settling(forecast(plan_steps(design or default_design(250.0)))[0], aim, DEFAULT_NOISE)


def test_what_the_reference_leaves_open_is_taken_off_the_claim():
    """On one side of the chain 1/(1 + c) - 1 to 1/(1 - c) - 1: to the third digit the reference's own claim."""
    found = asked(ALIKE)
    assert found.open_pct == approx(0.5, abs=0.001)
    assert found.room_pct == approx(1.0, abs=0.001)
    assert found.answer == ONE_TRIAL


def test_a_loose_reference_or_a_wide_loss_settles_nothing_however_often_it_is_ridden():
    assert asked(replace(ALIKE, reference_claim_pct=2.0)).answer == NEVER
    across = asked(replace(ALIKE, reference_point="hub", loss_pct=(1.0, 5.0)))
    assert (across.answer, across.trials) == (NEVER, None)
    assert asked(replace(ALIKE, reference_point="hub", loss_pct=(2.0, 2.0))).open_pct == approx(0.51, abs=0.01)


def test_so_many_trials_as_it_says_hold_the_interval_inside_in_half_of_the_series_or_more():
    """Simulated: means of trials from a device that reads true; one trial fewer does it markedly less often."""
    found = asked(replace(ALIKE, reference_claim_pct=1.0))
    assert found.answer == TRIALS
    spread = np.hypot(DEFAULT_NOISE.trial_pct, forecast(plan_steps(default_design(250.0)))[0].error_pct)
    rng = np.random.default_rng(20260314)

    def share(n: int) -> float:
        rides = rng.normal(0.0, spread, (4000, n))
        half = special.stdtrit(n - 1, 0.975) * rides.std(axis=1, ddof=1) / n**0.5
        return float(np.mean(half < found.room_pct))

    assert share(found.trials.in_all) >= 0.5
    assert share(found.trials.in_all - 2) < 0.5


def test_every_way_out_of_a_no_does_settle_the_claim_and_names_what_it_changes():
    aim = default_design().aim
    held = forecast(counted_steps(default_design(250.0)))[0]
    assert settling(held, aim, DEFAULT_NOISE).answer == NEVER
    ways = ways_out(held, aim, DEFAULT_NOISE)
    assert [way.changes for way in ways] == [(MEASURED,), (BESIDE,)]
    for way in ways:
        assert settling(held, way.aim, DEFAULT_NOISE).answer != NEVER
    assert ways[0].aim == replace(aim, loss_pct=(2.5, 3.5)) and ways[1].aim == replace(aim, reference_point="pedal")
    strict = ways_out(held, replace(aim, claim_pct=1.0), DEFAULT_NOISE)
    assert [way.changes for way in strict] == [(BESIDE, TIGHTER)], "no single change is enough for one percent"
    assert ways_out(held, replace(ALIKE, reference_claim_pct=2.9), DEFAULT_NOISE) == (), "beside it already, half is too little"


def test_the_sync_pattern_is_no_sprint_of_the_forecast():
    design = default_design(250.0)
    sprints = next(row for row in forecast(counted_steps(design)) if row.kind == "transient")
    assert (sprints.blocks, sprints.seconds) == (6 + 4, (6 * 15 + 4 * 10) / 10)


def test_one_hold_alone_has_no_interval_of_its_own():
    one = Design(title="t", parts=(Part(name="p", steps=(Exercise(name="hold", duration_s=600.0, target_w=200.0),)),))
    assert asked(ALIKE, one).provable_pct is None
    assert asked(ALIKE, one).answer != ONE_TRIAL


@pytest.mark.parametrize("design", [default_design(250.0), core_design(250.0)], ids=["whole", "core"])
def test_the_card_s_lines_times_their_turns_are_the_whole_ride(design):
    lines = card_lines(design)
    assert sum(line.turns * line.step.duration_s for line in lines) == approx(total_s(design))
    starts = [line.start_s for line in lines]
    assert starts == sorted(starts)
    surge = next(line for line in lines if line.step.name == "surge")
    assert (surge.turns, surge.step.target_w, surge.first) == (6, 325.0, True)


def test_what_is_ridden_in_turns_stands_on_the_card_in_its_order():
    steps = tuple(Exercise(name=n, duration_s=60.0, target_w=100.0) for n in "abc")
    there_and_back = Design(title="t", parts=(Part(name="p", steps=steps, repeats=2, order="there and back"),))
    assert "".join(line.step.name for line in card_lines(there_and_back)) == "abccba"
    assert [line.first for line in card_lines(there_and_back)] == [True, False, False] * 2


def test_a_ride_of_too_many_steps_is_refused_before_it_is_laid_out():
    step = Exercise(name="s", duration_s=5.0, target_w=100.0)
    with pytest.raises(BadSetup, match="201 steps in all; 200 is the most"):
        ridden(Design(title="t", parts=(Part(name="p", steps=(step,) * 201),)))
