"""Everybody against another recording. Referees: the algebra of ratios, and a whole comparison with the other reference."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from pytest import approx

from analysis import pipeline, reading
from analysis.errors import OutOfRange
from analysis.pairs import only, tables_against
from analysis.report import blocks_of
from analysis.setup import setup_from_toml

BOATHOUSE = Path(__file__).parents[2] / "sample_data" / "boathouse"


@pytest.fixture(scope="module")
def recordings():
    return [reading.read((BOATHOUSE / f"{n}.fit").read_bytes(), name=f"{n}.fit") for n in ("hub", "spider", "pedals")]


@pytest.fixture(scope="module")
def compared(recordings):
    return pipeline.compare(recordings, setup_from_toml((BOATHOUSE / "setup.toml").read_text()))


@pytest.fixture(scope="module")
def against_spider(recordings):
    return pipeline.compare(recordings, replace(setup_from_toml((BOATHOUSE / "setup.toml").read_text()), reference="spider"))


def test_exchanging_the_two_turns_every_delta_round(compared):
    report = compared.to_dict()
    tables = tables_against(compared.trial, compared.blocks, "spider")
    there = {d["block"]: d for d in report["deltas"] if d["label"] == "spider"}
    for back in (d for d in tables["deltas"] if d["label"] == "hub"):
        forth = there[back["block"]]
        assert back["n_s"] == approx(forth["n_s"])
        if forth["delta_w"] is not None:
            assert back["delta_w"] == approx(-forth["delta_w"])
        if forth["delta_pct"] is not None and back["delta_pct"] is not None:
            assert (1 + back["delta_pct"] / 100) * (1 + forth["delta_pct"] / 100) == approx(1)
    steady = next(s for s in tables["summary"] if (s["label"], s["kind"]) == ("hub", "steady"))
    forth = next(s for s in report["summary"] if (s["label"], s["kind"]) == ("spider", "steady"))
    assert (1 + steady["delta_pct"] / 100) * (1 + forth["delta_pct"] / 100) == approx(1)
    band, other = (t["allowances"] for t in (tables, report))
    low, high = next(a["worst_pct"] for a in band if a["label"] == "hub")
    low_back, high_back = next(a["worst_pct"] for a in other if a["label"] == "spider")
    assert (1 + low / 100) * (1 + high_back / 100) == approx(1, abs=1e-3)
    assert (1 + high / 100) * (1 + low_back / 100) == approx(1, abs=1e-3)


def test_the_pair_is_what_a_whole_comparison_with_that_reference_says(compared, against_spider):
    """Clocks are solved anew and blocks found on the other's clock: held power agrees to a tenth of a point, not to the digit."""
    tables, whole = tables_against(compared.trial, compared.blocks, "spider"), against_spider.to_dict()
    assert tables["reference"] == whole["reference"] == "spider"
    assert {a["label"]: a["worst_pct"] for a in tables["allowances"]} == {
        a["label"]: approx(a["worst_pct"]) for a in whole["allowances"]
    }
    for entry in (s for s in whole["summary"] if s["kind"] in ("steady", "all")):
        pair = next(s for s in tables["summary"] if (s["label"], s["kind"]) == (entry["label"], entry["kind"]))
        assert pair["delta_pct"] == approx(entry["delta_pct"], abs=0.1)
        assert pair["verdict"] == entry["verdict"]
    held = {b["id"] for b in whole["blocks"] if b["kind"] == "steady"}
    pairs = {d["block"]: d for d in tables["deltas"] if d["label"] == "pedals"}
    both = [(pairs[d["block"]], d) for d in whole["deltas"] if d["label"] == "pedals" and d["block"] in held]
    assert len(both) > 10
    assert all(pair["delta_pct"] == approx(delta["delta_pct"], abs=0.1) for pair, delta in both)


def test_levels_of_a_pair_take_the_same_blocks_as_the_reports(compared):
    tables, report = tables_against(compared.trial, compared.blocks, "spider"), compared.to_dict()
    own = [(row["level_w"], row["block_ids"]) for row in report["levels"] if row["label"] == "pedals"]
    assert [(row["level_w"], row["block_ids"]) for row in tables["levels"] if row["label"] == "pedals"] == own
    for row in (r for r in tables["levels"] if r["label"] == "hub"):
        forth = next(r for r in report["levels"] if r["label"] == "spider" and r["block_ids"] == row["block_ids"])
        assert row["delta_w"] == approx(-forth["delta_w"])


def test_the_reports_own_reference_gives_the_reports_own_tables(compared):
    report = compared.to_dict()
    tables = tables_against(compared.trial, blocks_of(report), "hub")
    assert tables["deltas"] == report["deltas"]
    assert tables["levels"] == report["levels"]
    assert tables["allowances"] == report["allowances"]
    assert tables["summary"] == [{k: v for k, v in s.items() if k != "random_effects"} for s in report["summary"]]


def test_an_excluded_block_keeps_its_row_and_counts_nowhere(compared):
    held = [b for b in compared.blocks if b.kind == "steady"]
    blocks = [replace(b, excluded_reason="a call") if b.id == held[0].id else b for b in compared.blocks]
    tables = tables_against(compared.trial, blocks, "spider")
    assert [d["excluded"] for d in tables["deltas"] if d["block"] == held[0].id] == [True, True]
    assert next(s["blocks"] for s in tables["summary"] if s["kind"] == "steady") == len(held) - 1
    assert all(held[0].id not in row["block_ids"] for row in tables["levels"])


def test_one_device_alone_and_an_unknown_label(compared):
    alone = only(compared.to_dict(), "pedals")
    assert {d["label"] for d in (*alone["deltas"], *alone["summary"], *alone["levels"])} == {"pedals"}
    with pytest.raises(OutOfRange, match="No recording is called 'nobody'"):
        tables_against(compared.trial, compared.blocks, "nobody")
