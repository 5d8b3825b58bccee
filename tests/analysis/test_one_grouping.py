"""One grouping of levels; true minus signs in sentences. Referees: hand-made holds, the built-in trial's JSON."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from analysis import pipeline, reading
from analysis.blocks import Block
from analysis.levels import levels_of
from analysis.numerals import plain, signed
from analysis.setup import setup_from_toml

BOATHOUSE = Path(__file__).parents[2] / "sample_data" / "boathouse"


def held(name, level_w, kind="steady"):
    edges = {"start_s": 0, "end_s": 60, "interior_start_s": 10, "interior_end_s": 55}
    return Block(id=name, kind=kind, level_w=level_w, cadence_rpm=90, name=name, **edges)


@pytest.fixture(scope="module")
def report():
    files = [reading.read((BOATHOUSE / f"{n}.fit").read_bytes(), name=f"{n}.fit") for n in ("hub", "spider", "pedals")]
    return pipeline.compare(files, setup_from_toml((BOATHOUSE / "setup.toml").read_text())).to_dict()


@pytest.mark.parametrize(
    ("levels", "groups"),
    [
        ([200, 150, 205, 148], ["150 148", "200 205"]),
        ([100, 107, 114], ["100", "107 114"]),  # no chain: 100 and 114 are 14 % apart; 107 is nearer to 114, in percent
        ([200], ["200"]),
        ([], []),
    ],
)
def test_repeats_of_a_level_lie_together_and_no_chain_joins_what_is_far_apart(levels, groups):
    found = levels_of([held(str(w), w) for w in levels] + [held("free", 150, kind="free"), held("none", None)])
    assert [set(map(float, (b.id for b in g))) for g in found] == [set(map(float, g.split())) for g in groups]


def test_block_table_and_level_table_speak_of_the_same_groups(report):
    groups = {b["id"]: b["level_group"] for b in report["blocks"] if b["kind"] == "steady"}
    for row in report["levels"]:
        assert len({groups[b] for b in row["block_ids"]}) == 1
        assert sum(g == groups[row["block_ids"][0]] for g in groups.values()) == len(row["block_ids"])


@pytest.mark.parametrize(
    ("value", "digits", "told", "difference"), [(-0.04, 1, "0.0", "0.0"), (-1.26, 1, "−1.3", "−1.3"), (2.345, 2, "2.35", "+2.35")]
)
def test_what_rounds_to_nothing_has_no_sign_and_a_minus_is_one(value, digits, told, difference):
    assert (plain(value + 1e-9, digits), signed(value + 1e-9, digits)) == (told, difference)


def test_no_sentence_of_the_result_carries_a_hyphen_for_a_minus(report):
    keys = ("findings", "hypotheses", "sprints", "noise", "response", "bests", "agreement", "warnings", "headline")
    told = json.dumps([report[key] for key in (*keys, "second_sentence")], ensure_ascii=False)
    sentences = re.findall(r'"((?:[^"\\]|\\.)*)"', told)
    assert len(sentences) > 100
    assert [s for s in sentences if re.search(r"(?<![\w.])-\d", s)] == []
    assert "response lag of 0.0 s" in " ".join(sentences)
