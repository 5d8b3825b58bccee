"""A list as people type or copy it becomes steps, and so does what a recording brings. Referee: the set-up's own reader."""

from __future__ import annotations

import pytest

from analysis.errors import BadSetup
from analysis.setup import setup_from_dict, setup_from_toml
from app.ride_plan import brought_by, read_list, steps_of, texts_of

TOML = """
[[plan]]
name = "hold 200"
duration_s = 600
target_w = 200
[[plan]]
name = "sprint"
duration_s = 15
kind = "transient"
"""
EXPECTED = setup_from_toml(TOML).plan


def plan_in(texts):
    return setup_from_dict({"plan": steps_of(texts)}).plan


@pytest.mark.parametrize(
    "text",
    [
        TOML,
        "hold 200, 10:00, 200, steady\nsprint, 0:15, , transient",
        "name;length;target;kind\nhold 200;600;200;steady\nsprint;15;;transient\n",
        "hold 200\t10 min\t200 W\tsteady\nsprint\t15 s\t\ttransient",
        "hold 200,0:10:00,200\n\nsprint,15,transient\n",
    ],
)
def test_a_list_in_any_usual_form_becomes_the_same_steps(text):
    assert plan_in(read_list(text)) == EXPECTED


def test_steps_to_texts_and_back():
    assert plan_in(texts_of(EXPECTED)) == EXPECTED


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("  ", "Paste or type the steps first"),
        ("hold 200", "Line 1 of the list must be name, length, watts, kind"),
        ("hold, ten, 200", "length in step 1 of the ride plan \\(hold\\)"),
        ("[[device]]\nlabel = 'a'", "no \\[\\[plan\\]\\] entry"),
        ("[[plan]]\nname = 'x'", "duration_s is missing"),
        ("[[plan\n", "not valid TOML"),
        ("hold, 0, 200", "duration_s must be a number from 1"),
    ],
)
def test_a_list_that_is_none_is_refused_in_words(text, words):
    with pytest.raises(BadSetup, match=words):
        read_list(text)


def test_a_workout_keeps_its_targets_and_a_lap_s_mean_is_no_target():
    workout = {"workout": [{"duration_s": 300, "low_w": 190, "high_w": 210}, {"duration_s": 60}]}
    assert [(t["length"], t["target"]) for t in brought_by(workout, "a.fit")] == [("5:00", "200"), ("1:00", "")]
    laps = {"laps": [{"start_s": 0, "duration_s": 60.075, "mean_w": 150.0, "trigger": "manual"}] * 3}
    assert [(t["length"], t["target"]) for t in brought_by(laps, "a.fit")] == [("1:00", "")] * 3
    with pytest.raises(BadSetup, match=r"a\.fit brings no workout"):
        brought_by({}, "a.fit")
