"""Edits by hand: records that survive being written down, a partition that stays one, exclusions that count nowhere."""

import itertools
import json
from dataclasses import replace

import pytest
from protocols import FAST, recorded

import sample_data
from analysis.blocks import find_blocks
from analysis.editing import apply_edits
from analysis.edits import ACTIONS, edit_from_dict
from analysis.errors import BadSetup
from analysis.freezing import blocks_hash
from analysis.pipeline import compare
from analysis.reading import read
from analysis.setup import setup_from_dict, setup_from_toml
from sample_data.ride_model import hold_plan, ride

ONE_OF_EACH = {
    "move-edge": {"action": "move-edge", "at_s": 302, "to_s": 310.0, "reason": "late"},
    "split": {"action": "split", "at_s": 200.0},
    "merge": {"action": "merge", "at_s": 302.0},
    "relabel": {"action": "relabel", "at_s": 200.0, "kind": "free", "name": "warming up"},
    "exclude": {"action": "exclude", "at_s": 200.0, "reason": "pedal unclipped"},
}


@pytest.fixture(scope="module")
def consensus():
    return recorded(ride(hold_plan([150, 200, 250]), seed=3), FAST, FAST)


@pytest.fixture(scope="module")
def blocks(consensus):
    return find_blocks(consensus)


@pytest.fixture(scope="module")
def hold(blocks):
    return next(b for b in blocks if b.kind == "steady")


def edited(consensus, blocks, *entries):
    return apply_edits(consensus, blocks, [edit_from_dict(e, i) for i, e in enumerate(entries)])


def at(blocks, at_s):
    return next(b for b in blocks if b.start_s <= at_s < b.end_s)


def is_partition(blocks, like):
    assert all(a.end_s == b.start_s for a, b in itertools.pairwise(blocks))
    assert (blocks[0].start_s, blocks[-1].end_s) == (like[0].start_s, like[-1].end_s)
    assert all(b.start_s <= b.interior_start_s < b.interior_end_s <= b.end_s for b in blocks)
    assert len({b.id for b in blocks}) == len(blocks)
    return True


@pytest.mark.parametrize("action", ACTIONS)
def test_an_edit_is_read_back_as_it_was_written(action):
    edit = edit_from_dict(ONE_OF_EACH[action], 0)
    assert edit_from_dict(json.loads(json.dumps(edit.to_dict())), 0) == edit


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ({"action": "shave", "at_s": 1.0}, r"edit\[0\].action must be one of .*split"),
        ({"action": "split"}, r"edit\[0\].at_s is missing; split needs it"),
        ({"action": "exclude", "at_s": 1.0}, r"edit\[0\].reason is missing"),
        ({"action": "split", "at_s": 1.0, "to_s": 2.0}, r"unknown key edit\[0\].to_s for split"),
        ({"action": "relabel", "at_s": 1.0}, "needs a kind or a name"),
        ({"action": "relabel", "at_s": 1.0, "kind": "gap"}, r"kind must be one of .*; got 'gap'"),
        ({"action": "split", "at_s": "soon"}, r"at_s must be seconds .*; got 'soon'"),
        ({"action": "exclude", "at_s": 1.0, "reason": " "}, r"reason must be text"),
    ],
)
def test_a_wrong_edit_is_refused_by_its_key(entry, says):
    with pytest.raises(BadSetup, match=says):
        setup_from_dict({"edit": [entry]})


def test_a_setup_with_edits_survives_being_written():
    tree = {"trial": {"frozen_hash": "ab" * 32, "frozen_utc": "2026-01-17"}, "edit": list(ONE_OF_EACH.values())}
    setup = setup_from_dict(tree)
    assert len(setup.edits) == len(ACTIONS)
    assert setup_from_dict(json.loads(json.dumps(setup.to_dict()))) == setup


def test_a_frozen_hash_that_is_none_is_refused():
    with pytest.raises(BadSetup, match="frozen_hash must be 64 hexadecimal digits"):
        setup_from_toml('[trial]\nfrozen_hash = "none"')


def test_an_edge_moves_and_both_neighbours_say_so(consensus, blocks, hold):
    got = edited(consensus, blocks, {"action": "move-edge", "at_s": hold.start_s + 1, "to_s": hold.start_s + 8})
    assert is_partition(got, blocks)
    assert at(got, hold.start_s + 20).start_s == hold.start_s + 8
    assert [b.edited for b in got].count(True) == 2


def test_a_split_makes_two_and_a_merge_makes_them_one_again(consensus, blocks, hold):
    middle = round((hold.start_s + hold.end_s) / 2)
    two = edited(consensus, blocks, {"action": "split", "at_s": middle})
    assert is_partition(two, blocks) and len(two) == len(blocks) + 1
    assert at(two, middle).start_s == middle
    one = edited(consensus, blocks, {"action": "split", "at_s": middle}, {"action": "merge", "at_s": middle})
    assert is_partition(one, blocks)
    assert [(b.start_s, b.end_s, b.kind) for b in one] == [(b.start_s, b.end_s, b.kind) for b in blocks]


def test_a_relabelled_hold_has_no_trim_and_no_spread(consensus, blocks, hold):
    got = at(edited(consensus, blocks, {"action": "relabel", "at_s": hold.start_s + 5, "kind": "free"}), hold.start_s + 5)
    assert (got.kind, got.interior_start_s, got.spread_frac, got.edited) == ("free", got.start_s, None, True)
    assert got.name.startswith("free riding")


def test_an_excluded_block_keeps_its_place(consensus, blocks, hold):
    got = edited(consensus, blocks, {"action": "exclude", "at_s": hold.start_s, "reason": "phone rang"})
    assert [(b.start_s, b.kind) for b in got] == [(b.start_s, b.kind) for b in blocks]
    assert [b.excluded_reason for b in got if b.excluded_reason] == ["phone rang"]


def test_undo_is_leaving_out_the_last_edit(consensus, blocks, hold):
    first = {"action": "split", "at_s": hold.start_s + 60}
    second = {"action": "exclude", "at_s": hold.start_s + 10, "reason": "x"}
    assert edited(consensus, blocks, first) == edited(consensus, blocks, *[first, second][:-1])
    assert edited(consensus, blocks) == blocks


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ({"action": "move-edge", "at_s": 250.0, "to_s": 260.0}, "no edge between blocks lies within 2 s"),
        ({"action": "split", "at_s": 99999.0}, "the trial runs from 0 s to"),
        ({"action": "merge", "at_s": 0.0}, "no edge"),
    ],
)
def test_an_edit_of_what_is_not_there_is_refused(consensus, blocks, entry, says):
    with pytest.raises(BadSetup, match=says):
        edited(consensus, blocks, entry)


def test_an_edge_cannot_swallow_its_neighbour(consensus, blocks, hold):
    with pytest.raises(BadSetup, match="merge the blocks instead"):
        edited(consensus, blocks, {"action": "move-edge", "at_s": hold.start_s, "to_s": hold.end_s + 50})


@pytest.fixture(scope="module")
def trial():
    setup = setup_from_toml(sample_data.setup_text())
    recordings = [read(data, name=name) for name, data in sample_data.recordings().items()]
    return recordings, setup, compare(recordings, setup).to_dict()


def test_an_excluded_block_is_listed_and_counts_nowhere(trial):
    recordings, setup, before = trial
    last = [b for b in before["blocks"] if b["kind"] == "steady"][-1]
    out = setup_from_dict({"edit": [{"action": "exclude", "at_s": last["start_s"] + 1, "reason": "fan moved"}]})
    after = compare(recordings, replace(setup, edits=out.edits)).to_dict()
    gone = next(b for b in after["blocks"] if b["start_s"] == last["start_s"])
    assert gone["excluded_reason"] == "fan moved"
    listed = [d for d in after["deltas"] if d["block"] == gone["id"]]
    assert listed and all(d["excluded"] for d in listed)
    verdicts = {d["label"]: d["verdict"] for d in before["deltas"] if d["block"] == last["id"]}
    assert {d["label"]: d["verdict"] for d in listed} == verdicts
    steady = {tree["summary"][0]["kind"]: tree["summary"][0]["blocks"] for tree in (before,)}
    assert after["summary"][0]["blocks"] == steady["steady"] - 1
    assert after["edits"] == [out.edits[0].to_dict()]


def test_frozen_blocks_are_known_again_and_an_edit_is_noticed(trial):
    recordings, setup, before = trial
    frozen = replace(setup, frozen_hash=before["blocks_hash"], frozen_utc="2026-01-17T18:00:00Z")
    assert before["frozen"] is None
    kept = compare(recordings, frozen).to_dict()["frozen"]
    assert kept == {"hash": before["blocks_hash"], "date": "2026-01-17T18:00:00Z", "matches": True}
    edit = edit_from_dict({"action": "split", "at_s": 600.0}, 0)
    assert compare(recordings, replace(frozen, edits=(edit,))).to_dict()["frozen"]["matches"] is False


def test_the_fingerprint_sees_a_second_and_an_exclusion_but_no_name(blocks, hold):
    plain = blocks_hash(blocks, (), ())
    i = blocks.index(hold)

    def with_hold(**change):
        return blocks_hash([*blocks[:i], replace(hold, **change), *blocks[i + 1 :]], (), ())

    assert with_hold(name="another") == plain
    assert len({plain, with_hold(end_s=hold.end_s + 1), with_hold(excluded_reason="x")}) == 3
