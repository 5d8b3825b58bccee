"""Notes pinned to a trial: kept, changed, removed; two owners; limits. Referee: a second reading of the store."""

from __future__ import annotations

import pytest

from analysis.errors import BadSetup
from app import noting
from app.store import ChangedMeanwhile, NoSuchTrial
from app.store import notes as stored_notes
from app.views.notes import list_html, marks_html


@pytest.fixture
def kept(bench):
    trial_id = bench.trial()
    return bench.store, trial_id


def pinned(kept, text="chain dropped", **more):
    store, trial_id = kept
    noting.change(store, trial_id, {"act": "pin", "text": text, **more})
    return store.notes.of(trial_id)


def test_a_note_is_kept_with_its_interval_and_its_line_breaks(kept):
    notes = pinned(kept, "  chain dropped\r\nback on after\n\n\n\n30 s ", **{"from": 612, "to": 733.5})
    assert [(n.text, n.from_s, n.to_s, n.version) for n in notes] == [("chain dropped\nback on after\n\n30 s", 612.0, 733.5, 1)]
    assert pinned(kept, "cold evening")[0].from_s is None, "what is about the whole trial comes first"


def test_the_later_of_two_owners_is_told(kept):
    store, trial_id = kept
    note = pinned(kept)[0]
    change = {"act": "change", "note": note.note_id, "text": "chain slipped", "seen": "1"}
    noting.change(store, trial_id, change)
    for late in (change | {"text": "other words"}, {"act": "remove", "note": note.note_id, "seen": "1"}):
        with pytest.raises(ChangedMeanwhile, match="Somebody else changed or removed this note"):
            noting.change(store, trial_id, late)
    assert [n.text for n in store.notes.of(trial_id)] == ["chain slipped"]
    noting.change(store, trial_id, {"act": "remove", "note": note.note_id, "seen": "2"})
    assert store.notes.of(trial_id) == []


def test_a_note_of_another_trial_cannot_be_reached(kept, bench):
    store, trial_id = kept
    note = pinned(kept)[0]
    with pytest.raises(ChangedMeanwhile):
        noting.change(store, bench.trial(b"power 100", b"power 101"), {"act": "remove", "note": note.note_id, "seen": "1"})
    assert len(store.notes.of(trial_id)) == 1
    with pytest.raises(NoSuchTrial):
        store.notes.of("n" * 32)


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"act": "pin", "text": " \n "}, "no text"),
        ({"act": "pin", "text": "x" * 501}, "at most 500 characters; this one has 501"),
        ({"act": "pin", "text": "x", "from": 5, "to": 5}, "interval is none"),
        ({"act": "pin", "text": "x", "from": float("nan"), "to": 5}, "interval is none"),
        ({"act": "pin", "text": "x", "from": "1", "to": 5}, "interval is none"),
        ({"act": "pin", "text": "x", "from": 1}, "interval is none"),
        ({"act": "shout", "text": "x"}, "cannot be done"),
        (None, "cannot be done"),
        ([1], "cannot be done"),
    ],
)
def test_what_is_no_note_is_refused_in_words_and_keeps_nothing(kept, sent, words):
    store, trial_id = kept
    with pytest.raises(BadSetup, match=words):
        noting.change(store, trial_id, sent)
    assert store.notes.of(trial_id) == []


def test_a_trial_takes_only_so_many(kept, monkeypatch):
    monkeypatch.setattr(stored_notes, "MAX_NOTES", 2)
    pinned(kept)
    pinned(kept)
    with pytest.raises(BadSetup, match="at most 2 notes"):
        pinned(kept)


def test_notes_stay_where_they_are_on_the_ride_when_the_clock_begins_later(kept):
    store, trial_id = kept
    pinned(kept, **{"from": 100, "to": 200})
    pinned(kept, "whole")
    store.notes.shift(trial_id, 12.0)
    assert [(n.from_s, n.to_s) for n in store.notes.of(trial_id)] == [(None, None), (88.0, 188.0)]


def test_markup_in_a_note_stays_text_and_readers_get_no_tools(kept):
    notes = pinned(kept, "<img src=x onerror=alert(1)> & \"quotes\"", **{"from": 1, "to": 9})
    for text in (list_html(notes, owned=True), list_html(notes, owned=False), marks_html(notes)):
        assert "<img" not in text
        assert "&lt;img" in text
    assert "data-note-act" not in list_html(notes, owned=False)
    assert "<form" not in list_html(notes, owned=False)
