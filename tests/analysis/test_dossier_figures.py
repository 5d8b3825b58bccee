"""Pictures of a dossier. Referee: the figures they are drawn from."""

from dataclasses import replace

import pytest
from pytest import approx
from test_standing import days

from analysis.bench_sheet import Row, measure
from analysis.dossier.standing import stand_of
from analysis.figures import bench_height_px, bench_picture, forest_height_px, forest_picture


@pytest.fixture
def stand():
    old = days(9.0, 9.3, 8.6, firmware="1.0")
    new = [replace(t, day=t.day.replace("-03-", "-04-"), name=f"<b>second</b> {t.name}") for t in days(2.1, 2.6, firmware="1.1")]
    return stand_of([*old, *new])


def traces(figure, kind):
    return [t for t in figure.data if (t.meta or {}).get("kind") == kind]


def test_the_forest_shows_every_trial_and_every_mean_where_they_lie(stand):
    figure = forest_picture(stand.shown, stand.shown_by_firmware)
    trials, means = traces(figure, "trials")[0], traces(figure, "mean")
    assert list(trials.x) == [9.0, 9.3, 8.6, 2.1, 2.6]
    assert trials.x[0] - trials.error_x.array[0] == approx(stand.standings[0].across.trials[0].ci_pct[0])
    pooled = [own[0].across.pooled for _, own in stand.by_firmware] + [stand.standings[0].across.pooled]
    assert [(t.x[0], t.x[1], t.x[2]) for t in means] == [(p.ci[0], p.mean, p.ci[1]) for p in pooled]
    band = figure.layout.shapes[0]
    assert (band.x0, band.x1) == stand.standings[0].allowance_pct
    names = [note.text for note in figure.layout.annotations]
    assert names[4].startswith("&lt;b&gt;second"), "a trial's name is text, never markup"
    assert names[2] == "2026-03-03 8.6"
    assert figure.layout.height == forest_height_px(stand.shown, stand.shown_by_firmware)


def test_shapes_tell_verdicts_apart_without_colour(stand):
    symbols = traces(forest_picture(stand.standings[0]), "trials")[0].marker.symbol
    assert list(symbols) == ["triangle-up"] * 3 + ["circle"] * 2


def test_a_trial_whose_interval_reaches_across_the_edge_is_drawn_unsettled(stand):
    seen = stand.standings[0]
    first = seen.across.trials[0]
    wide = replace(first, ci_pct=(first.delta_pct - 20.0, first.delta_pct + 20.0))
    across = replace(seen.across, trials=(wide, *seen.across.trials[1:]))
    assert traces(forest_picture(replace(seen, across=across)), "trials")[0].marker.symbol[0] == "diamond-open"


def test_the_bench_picture_has_every_claim_in_percent_of_itself():
    rows = [
        ("pedals", measure(Row(quantity="mass", unit="g", readings=(312.0, 314.0), claimed=320.0, tolerance=4.0))),
        ("pedals", measure(Row(quantity="float", unit="deg", readings=(6.0,)))),
        ("pedals", measure(Row(quantity="battery", unit="h", readings=(40.0,), claimed=60.0, stopped_early=True))),
        ("crank", measure(Row(quantity="mass", unit="g", readings=(641.0, 643.0), claimed=600.0, resolution=1.0))),
    ]
    figure = bench_picture(rows)
    assert [(t.meta["device"], list(t.x)) for t in figure.data] == [
        ("pedals", [approx(100 * (313 - 320) / 320), approx(-100 / 3)]), ("crank", [approx(100 * (642 - 600) / 600)]),
    ]  # fmt: skip
    assert figure.data[1].marker.symbol == ("triangle-up",)
    assert figure.data[0].marker.symbol[1] == "triangle-right-open", "40 h of claimed 60, stopped: at least that"
    assert (figure.layout.shapes[0].x0, figure.layout.shapes[0].x1) == (approx(-1.25), approx(1.25))
    assert [note.text for note in figure.layout.annotations] == ["pedals: mass", "pedals: battery", "crank: mass"]
    assert figure.layout.height == bench_height_px(rows)
