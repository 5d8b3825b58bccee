"""Notes in a real browser: pinned to an interval, seen by readers, changed, removed. Referee: a reader's browser."""

from __future__ import annotations

import json

import pytest
from driving import DESK, PHONE, chart_drawn, eventually

from app.links import owner_path, trial_path

TEXT = "Fan switched off <b>here</b>\nback on at the top"
COUNT = "document.querySelectorAll('.note').length"


@pytest.fixture
def owned(open_page, site):
    def open_one(**options):
        store = site.services.store
        demo = store.trial(site.demo.split("/")[-1])
        new = store.create_trial(demo.recordings, demo.setup)
        page = open_page(owner_path(new.trial_id, new.owner_key), **options)
        chart_drawn(page)
        page.wait_for_selector("#note-text")
        return page, new

    return open_one


def pin(page, text, window=None):
    before = page.evaluate(COUNT)
    if window:
        page.evaluate(f"window.countercheck.overlay.choose({window[0]}, {window[1]}, true)")
    page.fill("#note-text", text)
    page.click("#note-save")
    eventually(page, COUNT, before + 1)


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_a_note_goes_the_whole_way_to_a_reader(owned, open_page, site, size):
    page, new = owned(viewport=size)
    pin(page, TEXT, (1200, 1500))
    pin(page, "Second", (1210, 1300))
    assert page.evaluate("document.activeElement.id") == "note-text"
    kept = site.services.store.notes.of(new.trial_id)
    assert [(n.text, n.from_s, n.to_s) for n in kept] == [(TEXT, 1200.0, 1500.0), ("Second", 1210.0, 1300.0)]

    reader = open_page(trial_path(new.trial_id), viewport=size)
    chart_drawn(reader)
    assert reader.locator("#note-text, [data-note-act]").count() == 0
    first = reader.locator(".note").first
    assert first.locator(".note-text").inner_text() == TEXT
    marks = reader.locator(".note-mark:visible")
    eventually(reader, "document.querySelectorAll('.note-mark:not([hidden])').length", 2)
    assert marks.all_inner_texts() == ["1", "2"]
    boxes = [marks.nth(i).bounding_box() for i in range(2)]
    layer = reader.locator("#scrub-layer").bounding_box()
    trial = site.services.jobs.ask(new.trial_id).open_trial.trial
    expected = layer["x"] + layer["width"] * (1200 - trial.start_s) / (trial.end_s - trial.start_s)
    assert abs(boxes[0]["x"] - expected) < 3
    assert boxes[1]["y"] > boxes[0]["y"], "two that begin close together stand below one another"
    first.locator("[data-note-go]").click()
    eventually(reader, "document.querySelector('#interval-card [data-window]').dataset.window", "1200.000 1500.000")
    eventually(reader, "new URLSearchParams(location.search).get('from')", "1200.0")
    assert reader.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_changed_removed_and_pinned_to_the_whole_trial(owned, site):
    page, new = owned()
    pin(page, "For all of it")
    assert page.locator(".note-when").inner_text() == "whole trial"
    page.get_by_role("button", name="Edit note 1").click()
    assert page.input_value("#note-text") == "For all of it"
    page.fill("#note-text", "For all of the ride")
    page.click("#note-save")
    eventually(page, "document.querySelector('.note-text').textContent", "For all of the ride")
    assert "(changed)" in page.inner_text(".note")
    remove = page.get_by_role("button", name="Remove note 1")
    remove.click()
    assert page.evaluate(COUNT) == 1, "once is not enough"
    page.locator("[data-note-act='remove']").click()
    eventually(page, COUNT, 0)
    assert site.services.store.notes.of(new.trial_id) == []


def test_a_refusal_keeps_what_was_typed_and_the_second_owner_is_told(owned, site):
    page, new = owned()
    pin(page, "First words")
    note = site.services.store.notes.of(new.trial_id)[0]
    page.get_by_role("button", name="Edit note 1").click()
    page.fill("#note-text", "My words")
    site.services.store.notes.change(new.trial_id, note.note_id, "Their words", None, seen_version=1)
    page.click("#note-save")
    page.wait_for_selector("#notes-problem [role=alert]")
    assert "Somebody else changed or removed this note" in page.inner_text("#notes-problem")
    assert page.input_value("#note-text") == "My words"
    assert site.services.store.notes.of(new.trial_id)[0].text == "Their words"


def test_a_reader_who_replays_the_owner_s_request_is_refused(owned, open_page, site):
    page, new = owned()
    sent = []
    page.on("request", lambda r: sent.append(r.post_data) if "notes-form" in (r.post_data or "") else None)
    pin(page, "Mine")
    reader = open_page(trial_path(new.trial_id))
    chart_drawn(reader)
    headers = {"Content-Type": "application/json", "Origin": site.address}
    answer = reader.request.post(f"{site.address}/_dash-update-component", data=sent[0], headers=headers)
    assert "Only the owner" in json.dumps(answer.json())
    assert len(site.services.store.notes.of(new.trial_id)) == 1


@pytest.mark.parametrize("at_s", [(1200, 1500), (3900, 3915)], ids=["amid", "at the end"])
def test_a_dozen_notes_on_one_spot_are_all_to_be_seen_and_pressed(owned, site, at_s):
    page, new = owned(viewport=PHONE)
    for i in range(12):
        text = f"Note {i} " + "and a long word " * 20 + "x" * 300
        site.services.store.notes.add(new.trial_id, text, (at_s[0] + i / 4, float(at_s[1])))
    page.reload()
    chart_drawn(page)
    eventually(page, "document.querySelectorAll('.note-mark:not([hidden])').length", 12)
    boxes = [mark.bounding_box() for mark in page.locator(".note-mark:visible").all()]
    chart = page.locator("#chart-box").bounding_box()
    for i, one in enumerate(boxes):
        assert chart["x"] <= one["x"] and one["x"] + one["width"] <= chart["x"] + chart["width"] + 1, "none is cut off"
        for other in boxes[:i]:
            apart = abs(one["x"] - other["x"]) >= 23 or abs(one["y"] - other["y"]) >= 21
            assert apart, "none covers another"
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
