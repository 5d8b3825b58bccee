"""Blocks changed by hand, frozen before deltas are seen. Referees: the analysis on the same trial, what leaves the server."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from asking import settled

from analysis.edits import Edit
from analysis.errors import BadSetup, CountercheckError
from analysis.setup import setup_from_dict
from app import editing, evidence, freezing, ids, showing
from app.demo import demo_trial
from app.forms import SheetEntries
from app.history import before_last_press, by_hand, carried
from app.links import deltas_path, result_path
from app.main import create_app
from app.screen import ROWS, Screen
from app.services import CONFIG_KEY, create_trial
from app.store import ChangedMeanwhile, SetupVersion
from app.views.block_marks import block_lines, held_line
from app.views.evidence import CHAPTERS
from app.views.frozen import html_text
from app.views.provenance import plan_sentences
from app.views.sensitivity import sensitivity_line


@pytest.fixture(scope="module")
def real(tmp_path_factory):
    """The server with the real analysis."""
    from app.settings import Settings

    folder = tmp_path_factory.mktemp("hand")
    app = create_app(Settings(data_dir=folder, cache_dir=folder / "results"))
    yield app.server
    app.server.config[CONFIG_KEY].jobs.close()


@pytest.fixture
def trial(real):
    """A fresh copy of the built-in trial: `do(act, block, **fields)` changes it, `report()` is its result."""
    return Hand(real, hidden=False)


class Hand:
    def __init__(self, server, *, hidden: bool) -> None:
        self.server, self.services = server, server.config[CONFIG_KEY]
        self.store = self.services.store
        demo = self.store.trial(demo_trial(self.services))
        self.id = self.store.create_trial(demo.recordings, demo.setup, blocks_first=hidden).trial_id

    def report(self) -> dict:
        return settled(self.services.jobs, self.id).open_trial.report

    def block(self, name: str) -> dict:
        return next(b for b in self.report()["blocks"] if b["name"] == name)

    def do(self, act: str, block: dict | None = None, *, seen: int | None = None, **fields: str) -> None:
        seen = self.store.trial(self.id).setup_version if seen is None else seen
        data = {"act": act, "seen": str(seen), **{k.replace("_", "-"): v for k, v in fields.items()}}
        if block is not None:
            given = {"new-start": str(block["start_s"]), "new-end": str(block["end_s"])}
            data = given | {"start": str(block["start_s"]), "end": str(block["end_s"])} | data
        editing.change(self.services, self.id, data)

    def hand(self):
        return by_hand(self.store.history(self.id))


def steady(report: dict, label: str = "pedals") -> dict:
    return next(s for s in report["summary"] if s["label"] == label and s["kind"] == "steady")


def test_an_edge_moves_and_the_deltas_follow(trial):
    block = trial.block("hold 200 up")
    before = trial.report()
    trial.do("move", block, new_start="15:20")
    moved = trial.block("hold 200 up")
    assert (moved["start_s"], moved["end_s"], moved["edited"]) == (920.0, block["end_s"], True)
    delta = {d["block"]: d for d in trial.report()["deltas"] if d["label"] == "pedals"}
    old = {d["block"]: d for d in before["deltas"] if d["label"] == "pedals"}
    assert delta[moved["id"]]["n_s"] == moved["interior_end_s"] - moved["interior_start_s"]
    assert delta[moved["id"]]["delta_pct"] != old[block["id"]]["delta_pct"]


def test_both_edges_may_move_at_once_beyond_the_old_block(trial):
    block = trial.block("easy 1") if any(b["name"] == "easy 1" for b in trial.report()["blocks"]) else trial.block("easy")
    start, end = block["start_s"], block["end_s"]
    trial.do("move", block, new_start=str(end + 5), new_end=str(end + 30))
    edges = [b["start_s"] for b in trial.report()["blocks"]]
    assert {end + 5, end + 30} <= set(edges)
    assert start not in edges


def test_split_merge_relabel_and_the_interval_s_ends(trial):
    block = trial.block("hold 280 top")
    count = len(trial.report()["blocks"])
    trial.do("split", block, split_at="23:30")
    assert len(trial.report()["blocks"]) == count + 1
    first = next(b for b in trial.report()["blocks"] if b["start_s"] == block["start_s"])
    trial.do("merge", first)
    assert len(trial.report()["blocks"]) == count
    again = next(b for b in trial.report()["blocks"] if b["start_s"] == block["start_s"])
    assert again["end_s"] == block["end_s"]
    trial.do("split-interval", again, **{"from": "1380.0", "to": str(block["end_s"])})
    assert len(trial.report()["blocks"]) == count + 1, "one end is an edge already"
    part = next(b for b in trial.report()["blocks"] if b["start_s"] == 1380.0)
    trial.do("relabel", part, name="out of the saddle", kind="free", reason="stood up")
    named = next(b for b in trial.report()["blocks"] if b["start_s"] == 1380.0)
    assert (named["name"], named["kind"]) == ("out of the saddle", "free")
    assert [e.words for e in trial.hand().edits][-1] == (
        "block at 23:00 called “out of the saddle” and taken as riding along: stood up"
    )


def test_an_excluded_block_counts_nowhere_until_it_is_taken_back(trial):
    before = steady(trial.report())
    trial.do("exclude", trial.block("hold 200 up"), reason="pedal unclipped")
    after = steady(trial.report())
    assert (after["blocks"], trial.block("hold 200 up")["excluded_reason"]) == (before["blocks"] - 1, "pedal unclipped")
    assert after["delta_pct"] != before["delta_pct"]
    trial.do("split", trial.block("hold 280 top"), split_at="23:30")  # a later change stays when the exclusion goes
    trial.do("include", trial.block("hold 200 up"))
    assert trial.block("hold 200 up")["excluded_reason"] is None
    assert [e.action for e in trial.store.trial(trial.id).setup.edits] == ["split"]


def test_a_part_of_an_excluded_block_can_be_taken_back_too(trial):
    trial.do("exclude", trial.block("hold 200 up"), reason="pedal unclipped")
    trial.do("split", trial.block("hold 200 up"), split_at="16:40")
    second = next(b for b in trial.report()["blocks"] if b["start_s"] == 1000.0)
    assert second["excluded_reason"] == "pedal unclipped"
    trial.do("include", second)
    again = {b["start_s"]: b["excluded_reason"] for b in trial.report()["blocks"]}
    assert again[1000.0] is None
    assert again[trial.block("hold 200 up, part 1")["start_s"]] == "pedal unclipped", "the other part stays left out"
    assert [reason for reason in again.values() if reason] == ["pedal unclipped"]
    assert [e.words for e in trial.hand().log][-2:] == [
        "taken back: block at 15:03 excluded: pedal unclipped", "block at 15:03 excluded: pedal unclipped",
    ]  # fmt: skip
    trial.do("undo")
    assert len([b for b in trial.report()["blocks"] if b["excluded_reason"]]) == 2
    trial.do("include", trial.block("hold 200 up, part 1"))
    assert [b["start_s"] for b in trial.report()["blocks"] if b["excluded_reason"]] == [1000.0]


def test_undo_and_back_to_automatic_give_the_old_result_again(trial):
    before = trial.report()
    trial.do("split", trial.block("hold 280 top"), split_at="23:30")
    trial.do("exclude", trial.block("hold 200 up"), reason="phone rang")
    trial.do("undo")
    assert [e.action for e in trial.store.trial(trial.id).setup.edits] == ["split"]
    trial.do("exclude", trial.block("hold 200 up"), reason="phone rang")
    trial.do("automatic")
    assert trial.report() == before
    assert [e.words for e in trial.hand().log] == [
        "block split at 23:30", "block at 15:03 excluded: phone rang", "taken back: block at 15:03 excluded: phone rang",
        "block at 15:03 excluded: phone rang", "back to automatic: 2 changes taken back",
    ]  # fmt: skip
    with pytest.raises(BadSetup, match="nothing to take back"):
        trial.do("undo")


def test_undo_takes_back_a_whole_press_and_not_one_record_of_it(trial):
    trial.do("split", trial.block("hold 280 top"), split_at="23:30")
    before, block = trial.report(), trial.block("hold 200 up")
    trial.do("move", block, new_start=str(block["start_s"] + 10), new_end=str(block["end_s"] - 10))
    assert len(trial.store.trial(trial.id).setup.edits) == 3
    trial.do("undo")
    assert trial.report() == before
    trial.do("undo")
    assert trial.store.trial(trial.id).setup.edits == ()


def test_undo_never_leaves_half_a_press_whatever_came_between(trial):
    trial.do("exclude", trial.block("hold 280 top"), reason="phone rang")
    excluded, block = trial.store.trial(trial.id).setup.edits, trial.block("hold 200 up")
    trial.do("move", block, new_start=str(block["start_s"] + 10), new_end=str(block["end_s"] - 10))
    trial.do("include", trial.block("hold 280 top"))
    trial.do("undo")  # the exclusion is there again
    assert len(trial.store.trial(trial.id).setup.edits) == 3
    trial.do("include", trial.block("hold 280 top"))
    trial.do("split", trial.block("hold 280 top"), split_at="23:30")
    for left in (2, 3, 1, 0):
        trial.do("undo")
        assert len(trial.store.trial(trial.id).setup.edits) == left
        assert left != 1 or trial.store.trial(trial.id).setup.edits == excluded


def test_undo_on_another_reference_s_clock_keeps_to_that_clock():
    one, two = Edit(action="split", at_s=60.0), Edit(action="move-edge", at_s=90.0, to_s=95.0)
    base = setup_from_dict({})
    steps = ((), (one,), (one, two), carried((one, two), 7.0))
    versions = [SetupVersion(version=i, created_utc=f"T{i}", setup=replace(base, edits=e)) for i, e in enumerate(steps)]
    assert before_last_press(versions) == (replace(one, at_s=53.0),)
    assert before_last_press(versions[:1]) == ()


@pytest.mark.parametrize(
    ("act", "fields", "words"),
    [
        ("move", {}, "Start and end are as they were"),
        ("move", {"new_start": "soon"}, "new start must be a time"),
        ("move", {"new_start": "14:33"}, "The edge must stay between 14:36 and"),
        ("split", {"split_at": ""}, "time to split at must be a time.*nothing"),
        ("split", {"split_at": "15:04"}, "Both parts need at least 5 s"),
        ("split", {"split_at": "9:99:99"}, "must be a time"),
        ("split-interval", {"from": "x", "to": "5"}, "interval's start must be a time"),
        ("relabel", {"name": "hold 200 up", "kind": "steady"}, "Name and kind are as they were"),
        ("relabel", {"kind": "gap"}, "kind must be one of"),
        ("relabel", {"name": "x" * 201}, "1 to 200 characters"),
        ("exclude", {}, "Say why"),
        ("include", {}, "is not excluded"),
        ("dance", {}, "reload it"),
    ],
)
def test_what_cannot_be_done_is_one_sentence_and_keeps_nothing(trial, act, fields, words):
    version = trial.store.trial(trial.id).setup_version
    with pytest.raises(BadSetup, match=words) as refused:
        trial.do(act, trial.block("hold 200 up"), **fields)
    assert "edit[" not in str(refused.value)
    assert trial.store.trial(trial.id).setup_version == version


@pytest.mark.parametrize("data", [None, 5, [], {}, {"act": []}, {"act": "undo", "seen": "x"}, {"act": "split", "start": {}}])
def test_whatever_a_browser_sends_is_refused_in_words(trial, data):
    trial.do("split", trial.block("hold 280 top"), split_at="23:30")
    with pytest.raises(CountercheckError):
        editing.change(trial.services, trial.id, data)


def test_a_page_left_open_meanwhile_changes_nothing(trial):
    block, seen = trial.block("hold 280 top"), trial.store.trial(trial.id).setup_version
    trial.do("split", block, split_at="23:30")
    with pytest.raises(ChangedMeanwhile, match="reload the page"):
        trial.do("exclude", block, reason="late", seen=seen)
    assert len(trial.store.trial(trial.id).setup.edits) == 1


def test_the_owner_s_sheet_keeps_edits_and_another_reference_moves_them_along(trial):
    trial.do("split", trial.block("hold 280 top"), split_at="23:30")
    stored, report = trial.store.trial(trial.id), trial.report()
    rows = {key: {ids.LABEL: name.removesuffix(".fit")} for key, name in stored.recordings}
    pedals = next(key for key, name in stored.recordings if name == "pedals.fit")
    start_s = settled(trial.services.jobs, trial.id).open_trial.trial.recording("pedals").time_s[0]
    with trial.server.test_request_context("/"):
        showing.change_setup(trial.id, SheetEntries(rows=rows, reference=pedals))
    (edit,) = trial.store.trial(trial.id).setup.edits
    assert edit.at_s == 1410.0 - round(start_s)
    new = trial.report()
    assert new["reference"] == "pedals"
    assert len(new["blocks"]) == pytest.approx(len(report["blocks"]), abs=2)
    assert any(b["edited"] for b in new["blocks"])
    assert trial.hand().log[-1].words == "the changes were put on another reference's clock" or start_s < 0.5


def test_each_edit_keeps_the_time_at_which_it_was_made():
    one, two = Edit(action="split", at_s=60.0), Edit(action="exclude", at_s=90.0, reason="rain")
    base = setup_from_dict({})
    steps = ((), (one,), (one, two), (two,))
    versions = [SetupVersion(version=i, created_utc=f"T{i}", setup=replace(base, edits=e)) for i, e in enumerate(steps)]
    hand = by_hand(versions)
    assert [(e.utc, e.words) for e in hand.edits] == [("T2", "block at 1:30 excluded: rain")]
    assert [(e.utc, e.words) for e in hand.log][-1] == ("T3", "taken back: block split at 1:00")


@pytest.mark.parametrize(
    ("text", "seconds"), [("15:00", 900), ("1:02:03", 3723), ("900", 900), ("900.5", 900.5), ("−0:30", -30), ("75:00", 4500)]
)
def test_times_as_people_type_them(text, seconds):
    assert editing.seconds_of(text, "time") == seconds


# --- before the deltas are shown


@pytest.fixture
def hidden(real):
    return Hand(real, hidden=True)


def leaving(hand: Hand) -> str:
    """All that a browser can get of a trial: page, card, charts, title."""
    with hand.server.test_request_context("/"):
        pieces = [showing.content(hand.id).to_plotly_json(), showing.card(hand.id, Screen(window=(930.0, 1070.0)))]
        screens = [Screen(), Screen(view=(900.0, 1100.0), against="spider", unit="w", mean_s=1, rows=ROWS, axis="clock")]
        pieces += [showing.chart(hand.id, theme, screen) for theme in ("light", "dark") for screen in screens]
        pieces += [showing.against_chart(hand.id, "light"), showing.title_of(hand.id), showing.rest(hand.id)]
        pieces.append(showing.first_view(hand.id).to_plotly_json())
        names = ["blocks", *(chapter.name for chapter in CHAPTERS)]
        pieces += [evidence.section(hand.id, {"index": name}, {"against": "spider"}) for name in names]
    return json.dumps(pieces, default=lambda o: o.to_plotly_json() if hasattr(o, "to_plotly_json") else str(o))


def test_no_delta_leaves_the_server_before_the_blocks_are_frozen(hidden):
    report = hidden.report()
    text = leaving(hidden)
    assert "the deltas are not shown yet" in text
    with hidden.server.test_request_context("/"):
        assert showing.open_trial(hidden.id) is None, "what the pictures of clocks and evidence are drawn from"
    assert "hold 200 up" in text
    devices = [d for d in report["deltas"] if abs(d["delta_pct"] or 0) > 0.5]
    for figure in {f"{d['delta_pct']:+.1f}".replace("-", "−") for d in devices}:
        assert f">{figure}<" not in text
    assert "verdict-lines" not in text
    assert "delta-pct" not in text
    assert report["headline"] not in text
    assert '"label": "pedals", "kind": "power"' not in text
    means = {round(d[key], 1) for d in report["deltas"] for key in ("mean_w", "reference_mean_w") if d[key]}
    shown = {float(n) for n in re.findall(r">(\d+\.\d)<", text)}
    levels = {round(b["level_w"], 1) for b in report["blocks"]}
    assert shown <= levels | means and shown - means, "power shown is the middle's, not a device's"


def test_downloads_are_refused_with_a_sentence_while_hidden(hidden):
    hidden.report()
    client = hidden.server.test_client()
    for path in (result_path(hidden.id), deltas_path(hidden.id)):
        answer = client.get(path)
        assert answer.status_code == 403
        assert "frozen the blocks" in answer.get_json()["error"]
        assert "delta_pct" not in answer.text


def test_the_trace_before_freezing_is_as_long_as_the_trial_and_of_no_device(hidden):
    found = settled(hidden.services.jobs, hidden.id).open_trial
    sealed = freezing.without_deltas(found)
    assert (sealed.trial.start_s, sealed.trial.end_s) == (found.trial.start_s, found.trial.end_s)
    assert sealed.trial.labels == (freezing.MIDDLE,)
    assert not {"headline", "findings", "response", "agreement", "levels", "warnings"} & set(sealed.report)


def test_freezing_keeps_date_and_hash_and_shows_the_deltas(hidden):
    hidden.do("exclude", hidden.block("hold 200 up"), reason="pedal unclipped")
    now = hidden.report()["blocks_hash"]
    with pytest.raises(ChangedMeanwhile):
        freezing.freeze(hidden.services, hidden.id, 1)
    freezing.freeze(hidden.services, hidden.id, 2)
    setup = hidden.store.trial(hidden.id).setup
    assert setup.frozen_hash == now
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", setup.frozen_utc)
    assert hidden.report()["frozen"]["matches"] is True
    text = leaving(hidden)
    assert "before the deltas were shown (hash " in text
    assert now[:12] in text
    assert "still those" in text
    assert hidden.server.test_client().get(result_path(hidden.id)).get_json()["frozen"]["hash"] == now
    with pytest.raises(freezing.CannotFreeze, match="shown already"):
        freezing.freeze(hidden.services, hidden.id, 3)

    hidden.do("split", hidden.block("hold 280 top"), split_at="23:30")
    assert hidden.report()["frozen"]["matches"] is False
    assert "no longer those" in leaving(hidden)
    hidden.do("undo")
    assert "still those" in leaving(hidden)


def test_a_trial_that_showed_its_deltas_says_so_and_cannot_be_frozen_any_more(trial):
    trial.report()
    assert "The blocks were not frozen before the deltas were shown." in leaving(trial)
    with pytest.raises(freezing.CannotFreeze):
        freezing.freeze(trial.services, trial.id, 1)


def test_a_hash_brought_along_is_no_witness(real):
    services = real.config[CONFIG_KEY]
    demo = services.store.trial(demo_trial(services))
    tree = demo.setup.to_dict()
    tree["trial"] |= {"frozen_hash": "a" * 64, "frozen_utc": "2020-01-01T00:00:00Z"}
    new = create_trial(services, [{"id": key, "name": name} for key, name in demo.recordings], tree)
    assert services.store.trial(new.trial_id).setup.frozen_hash is None


def test_the_built_in_trial_is_never_one_whose_deltas_are_hidden(real):
    services = real.config[CONFIG_KEY]
    demo = services.store.trial(demo_trial(services))
    found = services.store.find_trial(demo.recordings, demo.setup)
    assert not services.store.trial(found).deltas_hidden


# --- words


def test_a_flip_is_called_unsettled():
    entry = {"label": "pedals", "delta_pct": 2.0, "low_pct": 1.8, "high_pct": 2.6, "flips": True}
    calm = {"label": "crank", "delta_pct": 1.0, "low_pct": 1.0, "high_pct": 1.0, "flips": False}
    text = html_text(sensitivity_line({"sensitivity": [entry, calm]}, ("hub", "pedals", "crank")))
    assert "for pedals from +1.8 to +2.6" in text
    assert "verdict on pedals changes" in text
    assert "unsettled" in text
    assert "No verdict changes" in html_text(sensitivity_line({"sensitivity": [calm]}, ("hub", "crank")))
    assert sensitivity_line({"sensitivity": []}, ("hub",)) is None


def test_how_well_a_hold_was_held_and_who_held_it():
    block = {"kind": "steady", "spread_frac": 0.012, "trend_frac": -0.02, "level_group": "200 W", "fixed_power_in": ["hub"]}
    words = html_text(held_line(block, 3))
    for piece in ("spread 1.2", "trend −2.0", "one of 3 at 200 W", "fixed power by hub"):
        assert piece in words
    assert held_line(block | {"kind": "free"}, 3) is None


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        ({"source": "setup", "recording": None, "steps": 3, "not_ridden": ["hold 300"]}, "Planned but not ridden: hold 300."),
        ({"source": "workout", "recording": "hub", "steps": 3, "not_ridden": []}, "workout in the file of hub"),
        ({"source": "laps", "recording": "crank", "steps": 4, "not_ridden": []}, "laps in the file of crank"),
        ({"source": None, "recording": None, "steps": 0, "not_ridden": []}, "No ride plan"),
    ],
)
def test_where_the_plan_came_from_and_what_was_left_out(plan, words):
    assert words in " ".join(plan_sentences({"plan": plan}))


def test_the_card_names_the_block_and_its_marks():
    blocks = [
        {"name": "easy", "kind": "free", "start_s": 0.0, "end_s": 60.0, "excluded_reason": "<rain>", "edited": True},
        {"name": "hold", "kind": "steady", "start_s": 60.0, "end_s": 200.0, "excluded_reason": None, "edited": True},
    ]
    assert "excluded: &lt;rain&gt;" in html_text(block_lines(blocks, (0.0, 60.0)))
    assert "edited by hand" in html_text(block_lines(blocks, (60.0, 200.0)))
    whole = html_text(block_lines(blocks, None))
    assert "one block edited by hand" in whole
    assert "one block excluded, but counted here" in whole
