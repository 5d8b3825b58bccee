"""Close-ups and the pictures behind findings. Referees: rides with a planted lag, faults and gain; the report's own figures."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from analysis import pipeline, reading
from analysis.aligned import laid_over
from analysis.figures import behind_height_px, behind_picture, changes_picture, sprint_traces_picture
from analysis.setup import setup_from_toml

BOATHOUSE = Path(__file__).parents[2] / "sample_data" / "boathouse"


@pytest.fixture(scope="module")
def compared():
    files = [reading.read((BOATHOUSE / f"{n}.fit").read_bytes(), name=f"{n}.fit") for n in ("hub", "spider", "pedals")]
    return pipeline.compare(files, setup_from_toml((BOATHOUSE / "setup.toml").read_text()))


@pytest.fixture(scope="module")
def report(compared):
    return compared.to_dict()


def half_way_s(one) -> float:
    up = int(np.argmax(one.mean_frac >= 0.5))
    return float(np.interp(0.5, one.mean_frac[up - 1 : up + 1], one.grid_s[up - 1 : up + 1]))


def test_laid_over_each_other_the_reference_is_half_way_at_zero_and_a_late_device_by_its_lag(compared, report):
    laid = {(one.label, one.rises): one for one in laid_over(compared.trial, compared.blocks, compared.trial.labels)}
    lags = {r["label"]: r["lag_s"] for r in report["response"]}
    for rises in (True, False):
        assert half_way_s(laid["hub", rises]) == approx(0.0, abs=0.15)
        for label, lag_s in lags.items():
            # a smoothed device passes half-way where its lag says, to within a sample
            assert half_way_s(laid[label, rises]) == approx(lag_s, abs=0.5)
        assert laid["hub", rises].mean_frac[0] == approx(0.0, abs=0.1)
        assert laid["hub", rises].mean_frac[-1] == approx(1.0, abs=0.1)


def test_a_missing_reading_is_no_zero_in_the_mean(compared):
    pedals = compared.trial.recording("pedals")
    power = pedals.channels["power_w"].copy()
    power[::7] = np.nan
    holed = replace(pedals, channels={**pedals.channels, "power_w": power})
    trial = replace(compared.trial, recordings=tuple(holed if r.label == "pedals" else r for r in compared.trial.recordings))
    whole, torn = (
        {(o.label, o.rises): o for o in laid_over(t, compared.blocks, ("pedals",))} for t in (compared.trial, trial)
    )
    level = whole["pedals", True].grid_s > 5
    assert np.nanmean(torn["pedals", True].mean_frac[-3:]) == approx(np.nanmean(whole["pedals", True].mean_frac[level]), abs=0.15)


def test_the_picture_of_the_changes_holds_both_means_and_every_change(compared, report):
    figure = changes_picture(report, compared.trial, "pedals")
    kinds = [(t.meta["kind"], t.meta["label"]) for t in figure.data]
    assert kinds.count(("mean", "hub")) == kinds.count(("mean", "pedals")) == kinds.count(("changes", "pedals")) == 2


def test_sprints_are_drawn_as_recorded(compared, report):
    figure = sprint_traces_picture(report, compared.trial)
    sprints = [b for b in report["blocks"] if b["name"].startswith("sprint")]
    assert len(sprints) == 4
    hub = [t for t in figure.data if t.meta["label"] == "hub"]
    assert 4 <= len(hub) <= 6
    recording = compared.trial.recording("hub")
    for trace in hub:
        assert set(np.array(trace.y, float)[np.isfinite(np.array(trace.y, float))]) <= set(recording.channels["power_w"])


def test_every_finding_that_states_a_cause_has_its_picture(compared, report):
    codes = {f["code"] for f in report["findings"]}
    assert {"temperature", "lag", "smoothing", "dropouts", "clock"} <= codes
    for finding in report["findings"]:
        height, figure = behind_height_px(report, finding), behind_picture(report, compared.trial, finding)
        assert (figure is None) == (height is None) == (finding["code"] == "none")
        if figure is not None:
            assert figure.layout.height == height


def test_the_stated_slope_is_drawn_with_the_size_of_the_finding(compared, report):
    finding = next(f for f in report["findings"] if f["code"] == "temperature")
    line = next(t for t in behind_picture(report, compared.trial, finding).data if t.meta["kind"] == "stated")
    assert (line.y[1] - line.y[0]) / (line.x[1] - line.x[0]) == approx(finding["size"])


@pytest.mark.parametrize(
    ("finding", "ends"),
    [({"code": "gain", "size": 6.0, "unit": "%"}, (0.0, 0.06)), ({"code": "offset", "size": 9.0, "unit": "W"}, (9.0, 0.0))],
)
def test_a_factor_climbs_from_zero_and_a_constant_lies_level(compared, report, finding, ends):
    figure = behind_picture(report, compared.trial, {**finding, "label": "pedals"})
    line = next(t for t in figure.data if t.meta["kind"] == "stated")
    assert line.y[0] == approx(ends[0])
    assert (line.y[1] - line.y[0]) / (line.x[1] - line.x[0]) == approx(ends[1])
    held = next(t for t in figure.data if t.meta["kind"] == "steady")
    kinds = {b["id"]: b["kind"] for b in report["blocks"]}
    wanted = [d["delta_w"] for d in report["deltas"] if d["label"] == "pedals" and kinds[d["block"]] == "steady"]
    assert list(held.y) == approx(wanted)


def test_lost_seconds_are_shaded_as_long_as_the_finding_says(compared, report):
    finding = next(f for f in report["findings"] if f["code"] == "dropouts")
    figure = behind_picture(report, compared.trial, finding)
    shaded = [s.x1 - s.x0 for s in figure.layout.shapes if s.name == "lost"]
    assert sum(shaded) == approx(finding["size"])


def test_held_power_stands_beside_the_other_kinds_with_the_summarys_figures(compared, report):
    figure = behind_picture(report, compared.trial, {"code": "steady-bias", "label": "pedals", "size": 1.0, "unit": "%"})
    drawn = {t.meta["kind"]: t.y[0] for t in figure.data if t.meta["kind"].startswith("all ")}
    told = {f"all {s['kind']}": s["delta_pct"] for s in report["summary"] if s["label"] == "pedals" and s["kind"] != "all"}
    assert drawn == approx(told)
