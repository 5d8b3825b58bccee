"""The health report. Referee: faults put in by hand into a clean ride, and the running total of a real sensor."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.reading import read
from analysis.reading.clock import settle
from analysis.reading.health import health

N = 600


def _ride(**changes) -> pd.DataFrame:
    rng = np.random.default_rng(4)
    power = np.round(200 + 20 * np.sin(np.arange(N) / 15) + rng.normal(0, 8, N))
    frame = pd.DataFrame({"time_s": np.arange(N, dtype=float), "power_w": power, "cadence_rpm": np.full(N, 90.0)})
    frame.loc[500:520, ["power_w", "cadence_rpm"]] = 0.0
    return frame.assign(**changes)


def _lines(frame, *, interval_s=1.0, timer_stops=()):
    return {h.code: h for h in health(frame, interval_s=interval_s, timer_stops=list(timer_stops))}


def _with(column, rows, value) -> pd.DataFrame:
    frame = _ride()
    frame.loc[rows, column] = value
    return frame


def test_a_clean_ride_has_nothing_to_warn_of():
    lines = _lines(_ride())
    assert [code for code, line in lines.items() if line.notable] == []
    assert lines["zeros"].count == 21 and lines["zeros"].first_s == 500


def test_holes_are_told_apart_by_the_timer():
    frame = _ride().drop(index=[*range(100, 160), *range(300, 330), 400]).reset_index(drop=True)
    lines = _lines(frame, timer_stops=[[99.0, 160.0]])
    assert (lines["pause"].count, lines["pause"].first_s) == (1, 99) and "60 s in all" in lines["pause"].text
    assert (lines["dropout"].count, lines["dropout"].first_s) == (1, 299) and "30 s in all" in lines["dropout"].text
    assert (lines["skipped"].count, lines["skipped"].first_s) == (1, 399)


def test_an_irregular_clock_is_said_so():
    time_s = np.arange(N) + np.where(np.arange(N) % 3 == 0, 0.4, 0.0)
    assert _lines(_ride(time_s=time_s))["rate"].notable


@pytest.mark.parametrize(
    ("frame", "code", "count", "first_s"),
    [
        (_with("power_w", [7, 8, 9], np.nan), "missing", 3, 7),
        (_with("power_w", [50, 51], 0.0), "zero-pedalling", 2, 50),
        (_with("power_w", slice(60, 70), 215.0), "held", 1, 60),
        (_with("power_w", [80, 90], [1200.0, 900.0]), "spike-power", 2, 80),
        (_with("cadence_rpm", [44], 239.0), "spike-cadence", 1, 44),
        (_with("power_w", slice(500, 520), 150.0).assign(cadence_rpm=np.where(np.arange(N) >= 500, 0.0, 90.0)),
         "held", 1, 500),
    ],
)  # fmt: skip
def test_each_fault_is_counted_and_placed(frame, code, count, first_s):
    line = _lines(frame)[code]
    assert line.notable and (line.count, line.first_s) == (count, first_s)


def test_power_that_hardly_moves_is_suspicious():
    lines = _lines(_ride(power_w=np.repeat(np.arange(N // 5) % 3 + 200.0, 5)))
    assert lines["constant"].notable and "80 %" in lines["constant"].text


def test_power_that_is_never_zero_is_said_so():
    frame = _with("power_w", slice(500, 520), 12.0)
    assert _lines(frame)["no-zeros"].count == 21


@pytest.mark.parametrize(("step_w", "says"), [(1, "whole watts"), (5, "steps of 5 W")])
def test_coarse_watts_are_said_so_and_warned_of_beyond_one(step_w, says):
    line = _lines(_ride(power_w=np.round(_ride().power_w / step_w) * step_w))["resolution"]
    assert says in line.text and line.notable is (step_w > 1)


def test_work_that_the_sensor_counted_and_nobody_wrote_is_found():
    frame = _ride()
    frame["accumulated_work_j"] = frame.power_w.cumsum()
    frame = frame.drop(index=range(200, 260)).reset_index(drop=True)
    line = _lines(frame)["lost-work"]
    assert line.notable and line.count == pytest.approx(60, abs=3)
    assert not _lines(_ride().assign(accumulated_work_j=_ride().power_w.cumsum()))["lost-work"].notable


def test_a_real_sensor_total_agrees_with_its_samples_within_a_percent(rides):
    # ride-02: 1,721,299 J counted against 1,708,708 J in the samples, 34 of them without power (decoded by hand).
    report = read((rides / "ride-02.fit").read_bytes(), name="ride-02.fit").facts["health"]
    line = next(h for h in report if h["code"] == "lost-work")
    assert "12.7 kJ above" in line["text"] or "12.6 kJ above" in line["text"]


def test_notable_lines_are_among_the_warnings_and_all_in_the_facts(rides):
    recording = read((rides / "ride-01.fit").read_bytes(), name="ride-01.fit")
    report = recording.facts["health"]
    assert {h["text"] for h in report if h["notable"]} <= set(recording.warnings)
    pauses = next(h for h in report if h["code"] == "pause")
    # fit-notes section 3: steps above 1 s that fall on a timer stop, ride-01 55 of 55; two of them are single seconds.
    assert pauses["count"] == 53 and not any(h["code"] == "dropout" for h in report)


def test_one_of_anything_is_said_as_one_and_a_hole_is_no_longer_than_all_holes():
    lines = _lines(_ride().drop(index=[*range(300, 330), 400]).reset_index(drop=True))
    assert lines["dropout"].text.startswith("1 hole of 30 s in all")
    assert "the longest 30 s; first at 0:04:59." in lines["dropout"].text
    assert lines["rate"].text == "1 of 567 steps between samples is other than 1 s."
    assert _lines(_ride())["rate"].text == "None of 599 steps between samples is other than 1 s."
    still = _with("power_w", [50], 0.0)
    assert _lines(still)["zero-pedalling"].text.startswith("Power is zero in 1 sample while the cadence says pedalling")


def test_a_repair_of_the_clock_is_one_sentence_with_its_place():
    frame = pd.DataFrame({"power_w": [200.0, np.nan, 205.0, 210.0]})
    _, found = settle(np.array([0.0, 0.0, 1.0, 2.0]), frame)
    said = "1 sample with the stamp of another that it does not contradict was merged with it; first at 0:00:00."
    assert found.warnings == [said]
