"""Pictures: nothing that matters may be drawn away, and what is drawn must be what the trial holds."""

from __future__ import annotations

import re
from pathlib import Path

import hand_made
import numpy as np
import pytest

from analysis.errors import OutOfRange
from analysis.figures import INKS, against, clamp_view, clock_text, height_px, line_style, overlay
from analysis.figures.thinning import MAX_POINTS, in_percent, running_difference, samples_in, step_for, thin

STYLES = Path(__file__).parents[2] / "assets" / "01-paper.css"


def lines(figure, kind):
    return {t.meta["label"]: t for t in figure.data if t.meta and t.meta.get("kind") == kind}


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, relative luminance and contrast ratio."""

    def luminance(colour: str) -> float:
        parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
        linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
        return float(linear @ (0.2126, 0.7152, 0.0722))

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_a_one_second_peak_is_in_the_picture_of_ten_hours():
    trial = hand_made.trial(36_000)
    trial.recording("pedals").channels["power_w"][20_000] = 1500.0
    figure = overlay(hand_made.report(), trial)
    drawn = [np.nanmax(np.asarray(t.y, float)) for t in figure.data if t.yaxis in (None, "y") and t.type == "scatter"]
    assert max(drawn) == 1500.0
    assert figure.layout.yaxis.range[1] > 1500.0


@pytest.mark.parametrize("hours", [0.5, 4, 10])
def test_no_line_has_more_points_than_the_chart_can_show(hours):
    figure = overlay(hand_made.report(), hand_made.trial(int(hours * 3600)))
    assert max(len(t.y) for t in figure.data if t.type == "scatter") <= MAX_POINTS + 3


def test_zoomed_in_every_second_is_drawn_as_recorded():
    trial = hand_made.trial()
    figure = overlay(hand_made.report(), trial, view=(600.0, 900.0))
    line = lines(figure, "power")["pedals"]
    pedals = trial.recording("pedals")
    np.testing.assert_array_equal(np.asarray(line.x), pedals.time_s[599:901])
    np.testing.assert_array_equal(np.asarray(line.y), pedals.channels["power_w"][599:901])


def test_a_gap_stays_a_gap():
    line = lines(overlay(hand_made.report(), hand_made.trial(), view=(2190.0, 2250.0)), "power")["pedals"]
    missing = np.asarray(line.x)[np.isnan(np.asarray(line.y, float))]
    assert (missing.min(), missing.max()) == (2200.0, 2239.0)


def test_samples_far_apart_are_not_joined():
    time_s = np.array([0.0, 1.0, 2.0, 60.0, 61.0])
    x, y = samples_in(time_s, np.full(5, 200.0), (0.0, 100.0), interval_s=1.0)
    assert (x.tolist(), np.isnan(y).tolist()) == ([0, 1, 2, 31, 60, 61], [False, False, False, True, False, False])


def test_the_strip_shows_a_constant_ratio_as_that_percentage():
    reference = np.full(600, 200.0)
    difference = in_percent(*running_difference(reference * 1.03, reference))
    np.testing.assert_allclose(difference[np.isfinite(difference)], 3.0, atol=1e-9)
    assert np.isfinite(difference).mean() > 0.9


def test_the_strip_is_silent_where_a_percentage_means_nothing():
    coasting, absent = np.full(120, 5.0), np.full(120, np.nan)
    assert np.isnan(in_percent(*running_difference(coasting * 2, coasting))).all()
    assert np.isnan(in_percent(*running_difference(absent, np.full(120, 200.0)))).all()


def test_bins_hold_mean_lowest_and_highest_of_their_seconds():
    values = np.arange(4800.0)
    bins = thin(np.arange(4800.0), values, (0.0, 4800.0), 10)
    assert (bins.step_s, bins.first_s) == (10.0, 5.0)
    assert (bins.mean[3], bins.lowest[3], bins.highest[3]) == (34.5, 30.0, 39.0)


def test_bins_of_a_trial_that_begins_before_zero_keep_their_place():
    values = np.arange(100.0)
    bins = thin(np.arange(-20.0, 80.0), values, (-20.0, 80.0), 1)
    assert (bins.first_s, bins.mean[0], bins.mean[-1]) == (-19.5, 0.0, 99.0)


@pytest.mark.parametrize(("span_s", "step_s"), [(300, 1), (2400, 5), (14_400, 30), (36_000, 120), (3e6, 6600)])
def test_bin_width_by_span(span_s, step_s):
    assert step_for(span_s) == step_s


def test_the_allowance_is_drawn_as_the_report_gives_it():
    figure = overlay(hand_made.report(), hand_made.trial())
    bands = {s.name: (s.y0, s.y1) for s in figure.layout.shapes}
    assert bands == {"allowance pedals": (-2.0, 9.4), "allowance spider": (-2.5, 8.7)}


def test_blocks_are_drawn_once_each_where_they_lie():
    report = hand_made.report()
    bar = next(t for t in overlay(report, hand_made.trial()).data if t.type == "bar")
    drawn = [(float(b), float(b + w)) for b, w in zip(bar.base, bar.x, strict=True)]
    assert drawn == [(b["start_s"], b["end_s"]) for b in report["blocks"]]
    assert [t for t in bar.text if t] == ["F", "S", "F", "S", "I", "S", "F", "S"]  # sprints and gap are too narrow


def test_kinds_of_block_differ_without_colour():
    bar = next(t for t in overlay(hand_made.report(), hand_made.trial()).data if t.type == "bar")
    kinds = [b["kind"] for b in hand_made.blocks()]
    assert len(set(zip(kinds, bar.marker.pattern.shape, strict=True))) == len(set(kinds)) == len(set(bar.marker.pattern.shape))


@pytest.mark.parametrize(
    ("asked", "drawn"),
    [
        (None, (0.0, 2400.0)),
        ((100.0, 200.0), (100.0, 200.0)),
        ((2390.0, 2392.0), (2380.0, 2400.0)),  # widened to what can be seen, pushed inside
        ((-50.0, 5000.0), (0.0, 2400.0)),
        ((300.0, 200.0), (0.0, 2400.0)),
        ((float("nan"), 200.0), (0.0, 2400.0)),
    ],
)
def test_view_is_kept_inside_the_trial(asked, drawn):
    assert clamp_view(asked, hand_made.trial()) == drawn


@pytest.mark.parametrize("theme", INKS)
def test_every_line_and_word_can_be_told_from_the_paper(theme):
    ink = INKS[theme]
    assert min(contrast(colour, ink.paper) for colour in ink.series) >= 3.0  # WCAG 2.2, 1.4.11
    assert min(contrast(colour, ink.paper) for colour in (ink.text, ink.muted)) >= 4.5  # WCAG 2.2, 1.4.3


def test_devices_differ_in_dash_as_well_as_colour():
    first = [line_style(i, "light") for i in range(6)]
    assert len({s.dash for s in first}) == len({s.colour for s in first}) == 6


@pytest.mark.parametrize("theme", INKS)
def test_the_style_sheet_draws_with_the_same_colours(theme):
    text = STYLES.read_text()
    block = text.split(':root[data-theme="dark"]')[1] if theme == "dark" else text.split("@media")[0]
    found = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block))
    ink = INKS[theme]
    expected = {"paper": ink.paper, "text": ink.text, "muted": ink.muted, "rule": ink.rule, "tone": ink.tone}
    expected |= {f"series-{i}": colour for i, colour in enumerate(ink.series)}
    assert {name: found.get(name) for name in expected} == expected


def test_the_chart_grows_with_the_devices():
    assert height_px(1) < height_px(2) < height_px(3)
    assert height_px(8) < 1200  # still one screen and a bit


@pytest.mark.parametrize(("time_s", "text"), [(0, "0:00"), (75.4, "1:15"), (3600, "1:00:00"), (-12, "−0:12")])
def test_clock_text(time_s, text):
    assert clock_text(time_s) == text


def held_points(figure, column, device):
    return [t for t in figure.data if t.meta["column"] == column][device]


def test_held_blocks_stand_where_the_report_puts_them():
    report = hand_made.report()
    blocks = {b["id"]: b for b in report["blocks"] if b["kind"] == "steady"}
    held = [d for d in report["deltas"] if d["label"] == "pedals" and d["block"] in blocks]
    figure = against(report, ("hub", "pedals", "spider"))
    by_time, by_power = held_points(figure, "time", 0), held_points(figure, "level_w", 0)
    assert list(by_time.y) == list(by_power.y) == [d["delta_pct"] for d in held]
    assert list(by_time.x) == [(blocks[d["block"]]["start_s"] + blocks[d["block"]]["end_s"]) / 2 for d in held]
    assert list(by_power.x) == [d["reference_mean_w"] for d in held]
    upper = [d["delta_pct_ci"][1] - d["delta_pct"] for d in held]
    assert list(by_time.error_y.array) == pytest.approx(upper)


def test_verdicts_of_held_blocks_differ_by_shape():
    symbols = held_points(against(hand_made.report(), ("hub", "pedals", "spider")), "time", 0).marker.symbol
    assert set(symbols) == {"circle", "triangle-up"}


def test_a_ride_without_held_power_or_cadence_still_draws():
    report = hand_made.report()
    for block in report["blocks"]:
        block["cadence_rpm"] = None
    assert len(held_points(against(report, ("hub", "pedals", "spider")), "cadence_rpm", 1).x) == 0
    report["blocks"] = []
    assert against(report, ("hub", "pedals", "spider")).layout.height > 0


def test_a_report_of_another_trial_is_refused():
    report = hand_made.report() | {"recordings": []}
    with pytest.raises(OutOfRange, match="another trial"):
        overlay(report, hand_made.trial())
