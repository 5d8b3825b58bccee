"""The ride as planned against the ride as ridden: late starts, skipped and repeated steps, longer rests, plans in a recording."""

import pytest
from protocols import FAST, recorded, step

from analysis.blocks import find_blocks
from analysis.plan import match_plan, plan_from, plan_of
from analysis.setup import PlanStep
from sample_data.ride_model import ride, sync_pattern


def holds(*levels_w, easy_s=60):
    """Easy riding and one hold per level, with names that only a plan gives."""
    out = [step("roll in", 120, 100, "free")]
    for n, w in enumerate(levels_w, start=1):
        out += [step(f"rung {n}", 180, w), step("easy", easy_s, 100, "free")]
    return out


def planned(steps):
    return [PlanStep(name=s.name, duration_s=s.duration_s, target_w=s.target_w or None, kind=s.kind) for s in steps]


def matched(plan, ridden, seed=1):
    consensus = recorded(ride(ridden, seed=seed), FAST, FAST)
    return match_plan(consensus, find_blocks(consensus), planned(plan))


def names(match):
    return [b.name for b in match.blocks if b.kind == "steady" and b.length_s > 100]


PLAN = holds(150, 200, 250, 200)


@pytest.mark.parametrize("seed", range(3))
def test_a_ride_as_planned_takes_every_name(seed):
    got = matched(PLAN, PLAN, seed)
    assert names(got) == ["rung 1", "rung 2", "rung 3", "rung 4"]
    assert not got.not_ridden


@pytest.mark.parametrize("seed", range(3))
def test_a_late_start_and_a_longer_rest_change_no_name(seed):
    late = [step("waiting", 400, 90, "free"), *PLAN[:4], step("telephone", 240, 0, "idle"), *PLAN[4:]]
    got = matched(PLAN, late, seed)
    assert names(got) == ["rung 1", "rung 2", "rung 3", "rung 4"]
    assert not got.not_ridden


@pytest.mark.parametrize("seed", range(3))
def test_a_skipped_step_is_said_and_the_others_keep_their_names(seed):
    got = matched(PLAN, [*PLAN[:5], *PLAN[7:]], seed)
    assert names(got) == ["rung 1", "rung 2", "rung 4"]
    assert [s.name for s in got.not_ridden] == ["rung 3"]


@pytest.mark.parametrize("seed", range(3))
def test_a_repeated_step_is_named_by_what_it_is(seed):
    got = matched(PLAN, [*PLAN[:5], *PLAN[3:5], *PLAN[5:]], seed)
    assert [n for n in names(got) if n.startswith("rung")] == ["rung 1", "rung 2", "rung 3", "rung 4"]
    assert len(names(got)) == 5
    assert not got.not_ridden


@pytest.mark.parametrize("seed", range(3))
def test_steps_in_another_order_keep_their_names_and_are_said(seed):
    got = matched(holds(150, 300, 150, 220), holds(150, 220, 150, 300), seed)
    assert names(got) == ["rung 1", "rung 4", "rung 3", "rung 2"]
    assert {s.name for s in got.elsewhere} == {"rung 2", "rung 4"}
    assert not got.not_ridden and not got.off_target


@pytest.mark.parametrize("seed", range(3))
def test_a_hold_at_another_power_is_said_and_one_that_was_ridden_nowhere_is_missing(seed):
    got = matched(PLAN, holds(150, 200, 310, 200), seed)
    assert names(got) == ["rung 1", "rung 2", "rung 3", "rung 4"]
    assert [s.name for s in got.off_target] == ["rung 3"] and not got.elsewhere and not got.not_ridden
    short = matched(holds(150, 200, 250, 330), holds(150, 250, 200), seed)
    assert [s.name for s in short.not_ridden] == ["rung 4"]


@pytest.mark.parametrize("seed", range(3))
def test_a_whole_ride_below_its_targets_is_the_plan_all_the_same(seed):
    """A fifth below: the second hold has the level of the third's target less a rung, and is still the second."""
    got = matched(holds(125, 150, 188, 234), holds(100, 120, 150, 187), seed)
    assert names(got) == ["rung 1", "rung 2", "rung 3", "rung 4"]
    assert not got.elsewhere and not got.off_target and not got.not_ridden


def test_a_planned_pattern_stands_for_its_efforts_and_rests():
    """One planned step of 60 s, ridden as three efforts and two rests."""
    ridden = [step("roll in", 180, 110, "free"), *sync_pattern(), *PLAN]
    plan = [step("roll in", 180, 110, "free"), step("opening sync", 60, 0, "transient"), *PLAN]
    for seed in range(3):
        got = matched(plan, ridden, seed)
        sync = [b for b in got.blocks if b.name == "opening sync"]
        assert (sync[0].start_s, sync[-1].end_s) == (pytest.approx(180, abs=4), pytest.approx(240, abs=4))
        assert not got.not_ridden


def test_names_are_told_apart_from_the_plans():
    ridden = [*PLAN, step("more", 180, 300), step("easy", 60, 100, "free")]
    plan = [*PLAN[:-2], step("300 W hold", 180, 200), PLAN[-1]]
    got = names(matched(plan, ridden))
    assert len(set(got)) == len(got) == 5


def test_without_a_plan_nothing_changes():
    consensus = recorded(ride(PLAN, seed=1), FAST, FAST)
    blocks = find_blocks(consensus)
    assert match_plan(consensus, blocks, ()).blocks == blocks


WORKOUT = {"workout": [{"duration_s": 120.0}, {"duration_s": 180.0, "low_w": 190.0, "high_w": 210.0}]}
LAPS = {"laps": [{"start_s": 60.0 * k, "duration_s": 60.0, "mean_w": 150.0 + k, "trigger": "manual"} for k in range(4)]}


def test_a_workout_in_a_recording_is_a_plan():
    free, hold = plan_from(WORKOUT)
    assert (free.kind, free.target_w, free.duration_s) == ("free", None, 120.0)
    assert (hold.kind, hold.target_w, hold.name) == ("steady", 200.0, "step 2, 200 W")


def test_lap_marks_are_a_plan_unless_distance_made_them():
    assert [s.name for s in plan_from(LAPS)] == ["lap 1", "lap 2", "lap 3", "lap 4"]
    assert plan_from({"laps": [{**lap, "trigger": "distance"} for lap in LAPS["laps"]]}) == ()
    assert plan_from({"laps": LAPS["laps"][:1]}) == ()
    assert plan_from({}) == ()


def test_the_set_up_goes_before_a_workout_and_a_workout_before_laps():
    own = planned(PLAN)
    facts = [("hub", LAPS), ("pedals", WORKOUT)]
    assert (plan_of(own, facts).source, plan_of(own, facts).recording) == ("setup", None)
    assert (plan_of((), facts).source, plan_of((), facts).recording) == ("workout", "pedals")
    assert (plan_of((), facts[:1]).source, plan_of((), [("hub", {})]).source) == ("laps", None)
