"""Pictures of evidence hold the report's figures, in the device's line and shape. Referee: the built-in trial's report."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from analysis import pipeline, reading
from analysis.figures import INKS, bests_picture, dependence_picture, line_style, scatter_picture, sprints_picture
from analysis.figures.panels import SHAPES
from analysis.setup import setup_from_toml

BOATHOUSE = Path(__file__).parents[2] / "sample_data" / "boathouse"


@pytest.fixture(scope="module")
def report():
    files = [reading.read((BOATHOUSE / f"{n}.fit").read_bytes(), name=f"{n}.fit") for n in ("hub", "pedals", "spider")]
    return json.loads(json.dumps(pipeline.compare(files, setup_from_toml((BOATHOUSE / "setup.toml").read_text())).to_dict()))


def drawn(figure, kind):
    return [t for t in figure.data if t.meta and t.meta["kind"] == kind]


@pytest.mark.parametrize("label", ["pedals", "spider"])
def test_a_curve_is_drawn_with_its_band(report, label):
    figure = dependence_picture(report, label)
    curves = {c["against"]: c for c in report["curves"] if c["label"] == label}
    assert {t.meta["against"] for t in drawn(figure, "delta")} == set(curves)
    for kind, key in (("delta", "delta_pct"), ("low", "low"), ("high", "high")):
        for trace in drawn(figure, kind):
            assert list(trace.y) == curves[trace.meta["against"]][key]
            assert list(trace.x) == curves[trace.meta["against"]]["x"]
    band = next(a["worst_pct"] for a in report["allowances"] if a["label"] == label)
    assert {(s.y0, s.y1) for s in figure.layout.shapes} == {tuple(band)}


def test_limits_and_their_intervals_are_drawn_and_every_block_they_rest_on(report):
    figure = scatter_picture(report)
    for entry, blocks in zip(report["agreement"], drawn(figure, "blocks"), strict=True):
        assert blocks.meta["label"] == entry["label"]
        assert len(blocks.x) == entry["blocks"]
        assert sum(blocks.y) / len(blocks.y) == pytest.approx(entry["bias_w"])
    levels = {t.y[0] for t in drawn(figure, "limit")}
    assert levels == {v for a in report["agreement"] for v in a["limits_w"]}
    intervals = {(s.y0, s.y1) for s in figure.layout.shapes if s.name == "limit interval"}
    assert intervals == {tuple(ci) for a in report["agreement"] for ci in a["limits_ci_w"]}


def test_the_wedge_is_the_allowance_over_the_mean_of_the_two(report):
    """At the picture's right edge a device at the allowance's upper end has just that difference from the reference."""
    wedge = drawn(scatter_picture(report), "allowance")[0]
    mean, difference = wedge.x[2], wedge.y[2]
    device, reference = mean + difference / 2, mean - difference / 2
    assert 100 * (device / reference - 1) == pytest.approx(report["allowances"][0]["worst_pct"][1])


def test_best_means_and_sprints_carry_value_and_interval(report):
    for trace, entry in zip(drawn(bests_picture(report), "values"), report["bests"], strict=True):
        assert list(trace.y) == [v["delta_pct"] for v in entry["values"]]
        tops = [y + up for y, up in zip(trace.y, trace.error_y.array, strict=True)]
        assert tops == pytest.approx([v["delta_pct_ci"][1] for v in entry["values"]])
    figure = sprints_picture(report)
    for kind, interval in (("work", "delta_pct_ci"), ("peaks", "phase_ci_pct")):
        for trace, entry in zip(drawn(figure, kind), report["sprints"], strict=True):
            bottoms = [y - down for y, down in zip(trace.y, trace.error_y.arrayminus, strict=True)]
            assert bottoms == pytest.approx([v[interval][0] for v in entry[kind]])


@pytest.mark.parametrize("theme", list(INKS))
def test_devices_differ_in_colour_dash_and_shape(report, theme):
    lines = [drawn(dependence_picture(report, label, theme=theme), "delta")[0] for label in ("pedals", "spider")]
    for seen in ({t.line.color for t in lines}, {t.line.dash for t in lines}, {t.marker.symbol for t in lines}):
        assert len(seen) == 2
    devices = [r["label"] for r in report["recordings"][1:]]
    first = lines[("pedals", "spider").index(devices[0])]
    style = line_style(1, theme)
    assert (first.line.color, first.line.dash, first.marker.symbol) == (style.colour, style.dash, SHAPES[0])


def test_a_report_without_evidence_has_no_picture(report):
    bare = {**report, "curves": [], "agreement": [], "bests": [], "sprints": []}
    assert [dependence_picture(bare, "pedals"), scatter_picture(bare), bests_picture(bare), sprints_picture(bare)] == [None] * 4


def test_a_label_stays_text_in_a_picture(report):
    text = json.dumps(report).replace('"pedals"', '"<b>pedals</b>"')
    assert "<b>" not in dependence_picture(json.loads(text), "<b>pedals</b>").layout.annotations[0].text
