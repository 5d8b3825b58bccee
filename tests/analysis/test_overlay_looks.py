"""What the overlay shows on request. Referee: the recordings' own samples, and the allowance formula worked by hand."""

from __future__ import annotations

from dataclasses import replace

import hand_made
import numpy as np
import pytest

from analysis.errors import OutOfRange
from analysis.figures import Look, height_px, overlay, rows_recorded
from analysis.figures.thinning import extremes, running_difference
from analysis.judging import allowance_of
from analysis.trial import Trial


def lines(figure, kind):
    return {t.meta["label"]: t for t in figure.data if t.meta and t.meta.get("kind") == kind}


def names(figure):
    return [a.text for a in figure.layout.annotations]


def with_channels(trial: Trial, **channels) -> Trial:
    """The trial, its first recording with these channels too."""
    first = trial.recordings[0]
    return replace(trial, recordings=(replace(first, channels={**first.channels, **channels}), *trial.recordings[1:]))


def test_in_watts_the_band_is_the_allowance_times_what_the_device_is_held_against():
    trial, report = hand_made.trial(), hand_made.report()
    figure = overlay(report, trial, view=(600.0, 900.0), look=Look(unit="w", mean_s=1))
    low, high = [t for t in figure.data if t.meta and t.meta.get("kind") == "band" and t.meta["label"] == "pedals"]
    allowance = next(a["worst_pct"] for a in report["allowances"] if a["label"] == "pedals")
    hub = trial.recording("hub")
    held_w = hub.steps().means(np.asarray(low.x, float) - 0.5, np.asarray(low.x, float) + 0.5)
    np.testing.assert_allclose(np.asarray(low.y), held_w * allowance[0] / 100, rtol=1e-5)
    np.testing.assert_allclose(np.asarray(high.y), held_w * allowance[1] / 100, rtol=1e-5)
    assert len(low.x) >= 300


def test_in_watts_the_strip_is_device_minus_reference_second_by_second():
    trial = hand_made.trial()
    drawn = lines(overlay(hand_made.report(), trial, view=(600.0, 900.0), look=Look(unit="w", mean_s=1)), "difference")["spider"]
    second = np.asarray(drawn.x, float) - 0.5
    parts = [trial.recording(label).steps().means(second, second + 1) for label in ("spider", "hub")]
    np.testing.assert_allclose(np.asarray(drawn.y, float), parts[0] - parts[1], atol=1e-4)


def test_a_percentage_strip_is_the_ratio_of_the_two_means():
    trial = hand_made.trial()
    drawn = lines(overlay(hand_made.report(), trial, view=(600.0, 700.0), look=Look(mean_s=10)), "difference")["spider"]
    i = list(drawn.x).index(650.5)
    means = [trial.per_second(label)[645:655].mean() for label in ("spider", "hub")]
    assert drawn.y[i] == pytest.approx(100 * (means[0] / means[1] - 1), abs=1e-4)


def test_any_recording_can_be_what_the_others_are_held_against():
    trial, report = hand_made.trial(), hand_made.report()
    figure = overlay(report, trial, look=Look(against="spider"))
    assert set(lines(figure, "difference")) == {"hub", "pedals"}
    bands = {s.name: (s.y0, s.y1) for s in figure.layout.shapes}
    worst = allowance_of(trial, "hub", "spider").worst_pct
    assert bands["allowance hub"] == pytest.approx(worst)
    # hub after the chain, spider before it, claims 1.5 % and 1 %, loss 1 to 5 %
    assert worst[0] == pytest.approx(100 * (0.95 * 0.985 / 1.01 - 1))
    reversed_sign = np.nanmedian(np.asarray(lines(figure, "difference")["hub"].y, float))
    assert reversed_sign == pytest.approx(100 * (1 / 1.03 - 1), abs=0.3)


def test_one_device_alone_leaves_it_and_what_it_is_held_against():
    figure = overlay(hand_made.report(), hand_made.trial(), look=Look(device="spider"))
    assert set(lines(figure, "power")) == {"hub", "spider"}
    assert set(lines(figure, "difference")) == {"spider"}
    assert figure.layout.height == height_px(1)
    first = lines(overlay(hand_made.report(), hand_made.trial()), "power")["spider"]
    assert lines(figure, "power")["spider"].line == first.line, "its stroke is the same wherever it is drawn"


def test_nothing_is_held_against_itself():
    with pytest.raises(OutOfRange, match="itself"):
        overlay(hand_made.report(), hand_made.trial(), look=Look(device="spider", against="spider"))
    with pytest.raises(OutOfRange, match="No recording is called"):
        overlay(hand_made.report(), hand_made.trial(), look=Look(against="crank"))


@pytest.mark.parametrize("width_s", [3, 10, 30])
def test_smoothing_is_the_same_moving_mean_for_every_recording(width_s):
    trial = hand_made.trial()
    figure = overlay(hand_made.report(), trial, view=(600.0, 900.0), look=Look(mean_s=width_s))
    for label, line in lines(figure, "power").items():
        steps = trial.recording(label).steps()
        at = np.asarray(line.x, float)
        (covered_a, work_a), (covered_b, work_b) = steps.running(at - width_s / 2), steps.running(at + width_s / 2)
        np.testing.assert_allclose(np.asarray(line.y), (work_b - work_a) / (covered_b - covered_a), rtol=1e-5)
    assert f"moving mean of {width_s} s" in names(figure)[0]


def test_smoothing_of_one_second_is_every_sample_as_recorded():
    trial = hand_made.trial()
    line = lines(overlay(hand_made.report(), trial, view=(600.0, 900.0), look=Look(mean_s=1)), "power")["pedals"]
    np.testing.assert_allclose(np.asarray(line.y), trial.recording("pedals").channels["power_w"][599:901], rtol=1e-6)


def test_smoothed_or_not_a_gap_stays_a_gap_and_a_peak_stays_in_the_picture():
    trial = hand_made.trial()
    trial.recording("pedals").channels["power_w"][1000] = 1500.0
    figure = overlay(hand_made.report(), trial, view=(700.0, 2400.0), look=Look(mean_s=30))
    line = lines(figure, "power")["pedals"]
    x, y = np.asarray(line.x), np.asarray(line.y, float)
    assert not np.isfinite(y[(x >= 2200) & (x < 2240)]).any()
    assert np.isnan(y[(x >= 2200) & (x < 2240)]).any(), "a line over the gap would join its ends"
    shade = [t for t in figure.data if t.meta and t.meta.get("kind") == "range" and t.meta["label"] == "pedals"]
    assert max(np.nanmax(np.asarray(t.y, float)) for t in shade) == 1500.0
    assert figure.layout.yaxis.range[1] > 1500.0


def test_of_each_bin_the_extremes_are_left_where_they_stood():
    rng = np.random.default_rng(3)
    x, y = np.arange(1000.0), rng.normal(200, 30, 1000)
    y[[333, 334]] = np.nan
    at, kept = extremes(x, y, 50)
    assert at.size <= 3 * 20
    for start in range(0, 1000, 50):
        seen = (at >= start) & (at < start + 50)
        assert np.nanmax(kept[seen]) == np.nanmax(y[start : start + 50])
        assert np.nanmin(kept[seen]) == np.nanmin(y[start : start + 50])
    np.testing.assert_array_equal(kept, y[at.astype(int)])
    assert np.isnan(kept[at == 333]).all() and 333 in at


@pytest.mark.parametrize("values", [np.empty(0), np.full(5, np.nan), np.array([1.0])])
def test_extremes_of_next_to_nothing(values):
    at, kept = extremes(np.arange(float(values.size)), values, 10)
    assert at.size == kept.size <= 1


def test_over_ten_hours_a_smoothed_line_has_a_few_points_per_bin():
    figure = overlay(hand_made.report(), hand_made.trial(36_000), look=Look(mean_s=1, unit="w"))
    assert max(len(t.y) for t in figure.data if t.type == "scatter") < 2200


def test_a_difference_needs_both():
    one, other = np.full(100, 200.0), np.full(100, 190.0)
    other[40:60] = np.nan
    difference, held = running_difference(one, other, 10)
    assert np.isnan(difference[40:60]).all() and np.isnan(held[40:60]).all()
    np.testing.assert_allclose(difference[np.isfinite(difference)], 10.0)


def test_rows_that_nobody_recorded_are_neither_offered_nor_drawn():
    trial, n = hand_made.trial(), 2400
    assert rows_recorded(trial) == ()
    trial = with_channels(
        trial, heart_rate_bpm=np.full(n, 140.0), cadence_rpm=np.zeros(n), temperature_degc=np.full(n, np.nan),
        left_share_frac=np.full(n, 0.48),
    )  # fmt: skip
    assert rows_recorded(trial) == ("heart_rate", "balance")
    figure = overlay(hand_made.report(), trial, look=Look(rows=("cadence", "heart_rate", "balance")))
    assert names(figure)[-3:-1] == ["heart rate [1/min]", "balance, left or known side [%]"]
    assert figure.layout.height == height_px(2, 2)
    assert set(np.asarray(lines(figure, "heart_rate")["hub"].y).tolist()) == {140.0}
    assert np.asarray(lines(figure, "balance")["hub"].y)[0] == pytest.approx(48.0)


def test_clock_time_is_utc_and_says_so():
    trial = hand_made.trial()  # starts 18:05:00 UTC
    figure = overlay(hand_made.report(), trial, look=Look(axis="clock"))
    told = dict(zip(figure.layout.xaxis.ticktext, figure.layout.xaxis.tickvals, strict=True))
    assert told["18:10"] == 300.0
    assert "clock time in UTC" in names(figure)[-1]
    close = overlay(hand_made.report(), trial, view=(100.0, 130.0), look=Look(axis="clock")).layout.xaxis
    assert dict(zip(close.ticktext, close.tickvals, strict=True))["18:06:50"] == 110.0


def test_midnight_is_told_by_its_date():
    trial = replace(hand_made.trial(), start_utc="2026-01-17T23:50:00Z")
    axis = overlay(hand_made.report(), trial, look=Look(axis="clock")).layout.xaxis
    assert dict(zip(axis.ticktext, axis.tickvals, strict=True))["Jan 18"] == 600.0


def test_a_ride_of_unknown_date_keeps_elapsed_time():
    trial = replace(hand_made.trial(), start_utc=None)
    figure = overlay(hand_made.report(), trial, look=Look(axis="clock"))
    assert "10:00" in figure.layout.xaxis.ticktext
    assert names(figure)[-1] == "blocks"


def test_close_up_the_difference_is_drawn_second_by_second_and_the_row_says_what_it_is():
    report, trial = hand_made.report(), hand_made.trial()
    assert "mean of 30 s" in names(overlay(report, trial))[1]
    assert "mean of" not in names(overlay(report, trial, view=(700.0, 760.0)))[1]
    assert "[W]" in names(overlay(report, trial, look=Look(unit="w")))[1]
