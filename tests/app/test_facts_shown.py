"""Facts and health on the page. Referee: facts as the readers give them, written down by hand."""

from __future__ import annotations

import re

from app.views.facts import fact_lines
from app.views.frozen import html_text
from app.views.health import health_list, without_health


def line(code: str, first_s: float | None, text: str, *, notable: bool) -> dict:
    return {"code": code, "count": 3, "first_s": first_s, "text": text, "notable": notable}


LINES = [
    line("rate", None, "3 of 300 steps between samples are other than 1 s.", notable=False),
    line("pause", 57.0, "3 pauses of 90 s in all (the timer was stopped), the longest 40 s; first at 0:00:57.", notable=True),
    line("zeros", 1.0, "Power is zero in 3 samples while not pedalling.", notable=False),
    line("held", 600.0, "The power stands still at one value 3 times; first at 0:10:00.", notable=True),
    line("resolution", None, "The power stands in whole watts.", notable=False),
    line("lost-work", None, "The sensor's own running total is 12.7 kJ above.", notable=True),
]


def words(component) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html_text(component)))


def test_notable_lines_come_first_and_those_beyond_four_are_folded():
    text = html_text(health_list(LINES, 0.0))
    shown, folded = text.split("<details>")
    assert [w in shown for w in ("3 pauses", "stands still", "running total", "3 of 300")] == [True] * 4
    assert [w in folded for w in ("2 more observations", "zero in 3 samples", "whole watts")] == [True] * 3
    assert shown.index("running total") < shown.index("3 of 300")


def test_a_place_selects_the_minute_around_it_on_the_trials_clock():
    text = html_text(health_list(LINES[1:2], 100.0))
    assert 'data-from="127.0"' in text
    assert 'data-to="187.0"' in text
    assert "0:00:57" not in text  # the recording's own clock, which the page does not show
    assert "first at 2:37" in words(health_list(LINES[1:2], 100.0)).replace("0:02:37", "2:37")


def test_without_any_line_there_is_no_list():
    assert health_list([], 0.0) is None


def test_a_warning_is_said_once():
    assert without_health(["A cut file.", LINES[1]["text"]], LINES) == ["A cut file."]


def test_what_a_review_needs_of_the_devices_is_shown():
    facts = {
        "recorder": {"maker": 255, "product": 5, "firmware": 7.3},
        "sensors": [
            {"type": "bike_power", "firmware": 2.07, "radio": "antplus", "battery_first_v": 3.0, "battery_last_v": 2.88,
             "battery_status": "low", "serial_hash": "0123abcd"},
        ],
        "calibrations": [{"at_s": 30.0, "value": 512}, {"at_s": 1800.0}],
        "settings": {"power_scale_pct": 101.5, "crank_length_mm": 172.5, "auto_zero": 0},
        "temperature": "measured by the recording unit, not by the power sensor",
        "health": LINES,
    }  # fmt: skip
    told = {name: text.replace("\u202f", " ") for name, text in fact_lines(facts)}
    later = dict(fact_lines(facts, 60.0))
    assert re.fullmatch(r"zero offset taken at [\d:]*1:30 \(value 512\), [\d:]*31:00", later["calibrations"])
    assert told["sensors"] == "power, firmware 2.07, battery 3.00 to 2.88 V (low), radio antplus"
    assert told["settings"] == "crank length 172.5 mm, scale factor of the power 101.5 %, automatic zero off"
    assert re.fullmatch(r"zero offset taken at [\d:]*0:30 \(value 512\), [\d:]*30:00", told["calibrations"])
    assert "recording unit" in told["temperature"]
    assert "health" not in told
