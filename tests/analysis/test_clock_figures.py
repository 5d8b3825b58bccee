"""Pictures of the alignment and trials with clocks moved by hand. Referee: the report and the trial they are drawn from."""

from __future__ import annotations

import hand_made
import numpy as np
import pytest

from analysis.errors import OutOfRange
from analysis.figures import match_height_px, match_picture, matched_signals, stretch_picture
from analysis.nudging import nudged


def candidate(via, shift_s, *, used=False, rivals=(), around=None):
    at = np.arange(-60.0, 61.0) + round(around if around is not None else shift_s)
    peaks = [np.exp(-0.5 * ((at - p) / 5) ** 2) for p in (shift_s, *rivals)]
    return {
        "via": via, "shift_s": shift_s, "shift_se_s": 0.02, "correlation": 0.98, "margin": 500.0, "settled": used, "used": used,
        "rival_shift_s": rivals[0] if rivals else None, "rival_shifts_s": list(rivals), "overlap_s": 2000,
        "curve": {"shift_s": at.tolist(), "correlation": np.max(peaks, axis=0).round(3).tolist()},
    }  # fmt: skip


def report_with(**changes):
    report = hand_made.report()
    entry = next(a for a in report["alignment"] if a["label"] == "pedals")
    entry |= {
        "shift_s": -7.5, "clock_shift_s": 0.0, "show": {"start_s": 705.0, "end_s": 745.0}, "pieces": [], "drift_applied": False,
        "candidates": [candidate("heart_rate", -7.5, used=True), candidate("power", -9.2, rivals=(20.0, 400.0))],
    } | changes  # fmt: skip
    return report


def traces(figure, kind):
    return {t.meta["via"]: t for t in figure.data if t.meta and t.meta["kind"] == kind}


def test_each_signal_has_its_curve_with_its_peaks_where_the_report_puts_them():
    report = report_with()
    figure = match_picture(report, "pedals")
    curves, best = traces(figure, "curve"), traces(figure, "best")
    assert set(curves) == {"heart_rate", "power"}
    np.testing.assert_allclose(curves["power"].y, report["alignment"][1]["candidates"][1]["curve"]["correlation"], atol=1e-6)
    assert {via: t.x[0] for via, t in best.items()} == {"heart_rate": -7.5, "power": -9.2}
    rivals = [t.x[0] for t in figure.data if t.meta["kind"] == "rival"]
    assert rivals == [20.0]  # the one 400 s away is told in words
    assert any("1 more peak further off" in a.text for a in figure.layout.annotations)
    assert curves["heart_rate"].yaxis != curves["power"].yaxis


def test_the_signals_that_were_used_differ_without_colour():
    curves = traces(match_picture(report_with(), "pedals"), "curve")
    assert (curves["heart_rate"].line.dash, curves["power"].line.dash) == (None, "dot")


def test_the_shift_in_use_and_the_clocks_alone_stand_upright_and_doubt_is_dashed():
    for settled, dash in ((True, "solid"), (False, "dash")):
        shapes = {s.name: s for s in match_picture(report_with(settled=settled), "pedals").layout.shapes}
        assert (shapes["shift in use"].x0, shapes["shift in use"].line.dash) == (-7.5, dash)
        assert shapes["clocks alone"].x0 == 0.0


def test_a_signal_that_peaks_elsewhere_leaves_the_picture_and_no_curve_gives_none():
    report = report_with(candidates=[candidate("heart_rate", -7.5, used=True), candidate("cadence", 900.0)])
    entry = report["alignment"][1]
    assert matched_signals(entry) == ("heart_rate",)
    assert match_picture(report, "pedals").layout.height == match_height_px(entry)
    assert match_picture(report_with(candidates=[]), "pedals") is None


def test_a_shift_by_hand_far_from_every_peak_still_draws():
    figure = match_picture(report_with(shift_s=5000.0, via="manual"), "pedals")
    assert len(traces(figure, "curve")) == 1
    assert "shift in use" not in {s.name for s in figure.layout.shapes}


def drawn(figure, row, nth):
    return [t for t in figure.data if t.yaxis == ("y", "y2")[row]][nth]


def test_after_are_the_trials_own_samples_and_before_lies_by_the_shift_away():
    trial = hand_made.trial()
    figure = stretch_picture(report_with(), trial, "pedals")
    before, after = drawn(figure, 0, 0), drawn(figure, 1, 0)
    pedals = trial.recording("pedals")
    first = int(np.flatnonzero(pedals.time_s == after.x[0])[0])
    np.testing.assert_array_equal(after.y, pedals.channels["power_w"][first : first + len(after.y)].astype(np.float32))
    both = dict(zip(np.asarray(after.x, float) + 7.5, after.y, strict=True))
    same = [(at, y) for at, y in zip(before.x, before.y, strict=True) if at in both]
    assert len(same) > 30
    assert all(both[at] == y for at, y in same)
    np.testing.assert_array_equal(drawn(figure, 0, 1).y, drawn(figure, 1, 1).y)  # the reference stays where it is


def test_an_applied_drift_is_taken_back_before():
    trial = hand_made.trial()
    plain = drawn(stretch_picture(report_with(), trial, "pedals"), 0, 0)
    drifted = drawn(stretch_picture(report_with(drift_ppm=500.0, drift_applied=True), trial, "pedals"), 0, 0)
    middle_s = (2400 - 1) / 2
    at_s = float(drifted.x[0])
    own = plain.x[np.argmin(np.abs(np.asarray(plain.x) - at_s))]
    assert at_s - own == pytest.approx(-500e-6 * (float(own) - 7.5 - middle_s), abs=1e-3)


def test_a_stretch_with_a_shift_of_its_own_is_drawn_with_that():
    pieces = [
        {"start_s": None, "end_s": 600.0, "shift_s": -7.5, "shift_se_s": 0.1},
        {"start_s": 600.0, "end_s": None, "shift_s": 12.0, "shift_se_s": 0.1},
    ]
    figure = stretch_picture(report_with(pieces=pieces), hand_made.trial(), "pedals")
    assert any("after: +12.0 s" in a.text for a in figure.layout.annotations)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"shift_s": 3600.0}, "by the clocks alone, 3600 s away from here"),
        ({"clock_shift_s": None}, "its clock has no date"),
        ({"settled": False}, "tried, not settled"),
        ({"via": "manual"}, "set by hand"),
    ],
)
def test_what_cannot_be_drawn_is_said(changes, words):
    figure = stretch_picture(report_with(**changes), hand_made.trial(), "pedals")
    assert any(words in a.text for a in figure.layout.annotations)


def test_no_common_change_gives_no_picture_and_another_trials_report_is_refused():
    assert stretch_picture(report_with(show=None), hand_made.trial(), "pedals") is None
    with pytest.raises(OutOfRange, match="another trial"):
        match_picture(report_with(), "trainer")


def test_a_nudge_moves_one_recording_and_nothing_else():
    trial = hand_made.trial()
    moved = nudged(trial, {"pedals": 0.25, "hub": 9.0, "nobody": 1.0})
    np.testing.assert_array_equal(moved.recording("pedals").time_s, trial.recording("pedals").time_s + 0.25)
    for label in ("hub", "spider"):
        assert moved.recording(label) is trial.recording(label)
    assert moved.per_second("pedals")[300] != trial.per_second("pedals")[300]  # nothing remembered from before the move
