"""Ride plans. Referees: the trade's plan (total time), fitdecode reading the workout, the set-up reader, a property of order."""

import io
import json
from dataclasses import replace

import fitdecode
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from analysis.default_design import core_design, default_design
from analysis.designing import (
    Design,
    Exercise,
    Part,
    asks_all_out,
    design_from_dict,
    fingerprint,
    plan_steps,
    plan_toml,
    steps_of,
    total_s,
)
from analysis.errors import BadSetup
from analysis.forecast import forecast
from analysis.setup import setup_from_toml
from analysis.workout import workout_bytes

HOUR_W = 250.0
A, B, C = (Exercise(name=n, duration_s=60.0, target_w=w) for n, w in (("a", 100.0), ("b", 150.0), ("c", 200.0)))


def test_the_default_lasts_as_long_as_the_trade_s_and_settles_three_percent_at_its_lowest_level():
    """Trade notes (b), no source: about 100 min, the core an hour."""
    whole, core = default_design(HOUR_W), core_design(HOUR_W)
    assert total_s(whole) / 60 == approx(105, abs=8)
    assert total_s(core) / 60 == approx(60, abs=5)
    assert asks_all_out(whole)
    assert forecast(plan_steps(whole))[0].smallest_pct < 1.1


def test_there_and_back_separates_level_from_time():
    """Each level's mean place in the ride is the same, so a trend with time adds the same to all."""
    part = Part(name="p", steps=(A, B, C), repeats=2, order="there and back")
    ridden = [s.name for s in steps_of(Design(title="t", parts=(part,)))]
    assert ridden == ["a 1", "b 1", "c 1", "c 2", "b 2", "a 2"]
    places = {n: sum(i for i, name in enumerate(ridden) if name[0] == n) for n in "abc"}
    assert len(set(places.values())) == 1


@given(seed=st.integers(0, 2**31), repeats=st.integers(1, 6))
@settings(max_examples=50, deadline=None)
def test_a_shuffled_part_rides_every_step_as_often_and_the_same_again_for_one_seed(seed, repeats):
    design = Design(title="t", parts=(Part(name="p", steps=(A, B, C), repeats=repeats, order="shuffled"),), seed=seed)
    ridden = steps_of(design)
    assert sorted(s.target_w for s in ridden) == sorted([100.0, 150.0, 200.0] * repeats)
    assert ridden == steps_of(design_from_dict(json.loads(json.dumps(design.to_dict()))))


def test_the_fingerprint_changes_with_anything_that_is_ridden():
    design = default_design(HOUR_W)
    assert fingerprint(design) == fingerprint(design_from_dict(design.to_dict()))
    others = (replace(design, seed=1), replace(design, hour_w=251.0), core_design(HOUR_W))
    assert len({fingerprint(d) for d in (design, *others)}) == 4


def test_the_plan_is_what_the_set_up_reads():
    design = default_design(HOUR_W)
    assert setup_from_toml(plan_toml(design), name="setup.toml").plan == plan_steps(design)


def test_shares_need_the_hour_they_are_shares_of():
    with pytest.raises(BadSetup, match="one-hour power"):
        steps_of(default_design(None))


def test_an_independent_decoder_reads_the_workout_step_by_step():
    """fitdecode: names, seconds, watts (plus 1000 in the file, by the public profile), the sync pattern taken apart."""
    design, steps = default_design(HOUR_W), []
    data = io.BytesIO(workout_bytes(design, created_s=1_795_600_000))
    with fitdecode.FitReader(data, check_crc=fitdecode.CrcCheck.RAISE) as fit:
        messages = [m for m in fit if isinstance(m, fitdecode.FitDataMessage)]
    steps = [m for m in messages if m.name == "workout_step"]
    workout = next(m for m in messages if m.name == "workout")
    ours = steps_of(design)
    assert workout.get_value("num_valid_steps") == len(steps) == len(ours) + 2 * 4, "two patterns of five parts each"
    assert sum(m.get_value("duration_time") for m in steps) == approx(total_s(design))
    hold = next(m for m in steps if m.get_value("wkt_step_name").startswith("hold 85%"))
    low, high = (hold.get_value(f"custom_target_power_{edge}") for edge in ("low", "high"))
    assert (low - 1000, high - 1000) == (round(212 * 0.96), round(212 * 1.04))
    sync = [m.get_value("duration_time") for m in steps if str(m.get_value("wkt_step_name")).startswith("sync")]
    assert sync == [10, 10, 10, 20, 10] * 2


def one_step(*, repeats=1, **fields):
    return {"parts": [{"name": "p", "steps": [{"name": "s", "duration_s": 60, **fields}], "repeats": repeats}]}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"title": ""}, "title must be text"),
        ({"hour_w": 5}, "hour_w must be a number from 50 to 600"),
        ({"parts": []}, "parts must be a list of 1 to 60 entries; got 0 entries"),
        ({"seed": 1.5}, "seed must be a whole number"),
        ({"colour": "red"}, "unknown key colour"),
        (one_step(duration_s="long"), r"parts\[0\]\.steps\[0\]\.duration_s"),
        (one_step(exercise="dance"), "exercise must be one of hold"),
        (one_step(target_w=1, hour_share=1), "keep one of them"),
        (one_step(duration_s=14000, repeats=40), "12 h is the most"),
        (one_step(duration_s=50, exercise="sync"), "must be 60 for the sync"),
        ({"parts": [7]}, "must be a table"),
    ],
)
def test_what_cannot_be_ridden_is_named_by_its_field(change, words):
    tree = json.loads(json.dumps(default_design(HOUR_W).to_dict())) | change
    with pytest.raises(BadSetup, match=words):
        design_from_dict(tree)


def test_a_share_beyond_any_rider_is_named_before_a_set_up_refuses_it():
    step = Exercise(name="sprint", duration_s=10.0, exercise="sprint", hour_share=9.0)
    wild = Design(title="wild", parts=(Part(name="sprints", steps=(step,)),), hour_w=400.0)
    with pytest.raises(BadSetup, match="900% of 400 W are 3600 W"):
        plan_steps(wild)


def test_a_name_with_a_control_sign_stays_a_plan_that_toml_reads():
    odd = Design(title="odd", parts=(Part(name="p", steps=(Exercise(name="a\x7fb \\ \"c\"", duration_s=60.0, target_w=200.0),)),))
    assert setup_from_toml(plan_toml(odd)).plan[0].name == odd.parts[0].steps[0].name
