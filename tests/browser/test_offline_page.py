"""The report in one file, opened from the disk with the network off and used with mouse and keyboard."""

from __future__ import annotations

import re

import pytest
from driving import PHONE, eventually
from offline_pages import alone
from open_trials import boathouse, with_names

from app.store.notes import Note

ROW = "tr[data-block]"
CARD = "#interval-card"


@pytest.fixture(scope="module")
def found():
    return boathouse()


def layer_of(page):
    page.locator("#scrub-layer").scroll_into_view_if_needed()
    return page.locator("#scrub-layer").bounding_box()


def window_of(page) -> str:
    return page.get_attribute(f"{CARD} [data-window]", "data-window")


def test_a_drag_selects_and_the_card_follows(chromium, tmp_path, found):
    with alone(chromium, tmp_path, found) as page:
        assert page.inner_text(CARD).startswith("Whole trial")
        box = layer_of(page)
        y = box["y"] + 80
        page.mouse.move(box["x"] + 0.3 * box["width"], y)
        page.mouse.down()
        page.mouse.move(box["x"] + 0.4 * box["width"], y, steps=5)
        page.mouse.up()
        # the card is at most one step behind the hand, and ends where the hand ends
        layer = "document.getElementById('scrub-layer').dataset"
        at_layer = f"Number({layer}.from).toFixed(3) + ' ' + Number({layer}.to).toFixed(3)"
        eventually(page, f"document.querySelector('{CARD} [data-window]').dataset.window === {at_layer}")
        start, end = map(float, window_of(page).split())
        whole = found.trial.end_s - found.trial.start_s
        assert start == pytest.approx(found.trial.start_s + 0.3 * whole, abs=4)
        assert end == pytest.approx(found.trial.start_s + 0.4 * whole, abs=4)
        page.keyboard.press("Escape")
        eventually(page, f"document.querySelector('{CARD}').innerText.startsWith('Whole trial')")


def test_a_block_is_chosen_on_the_strip_in_the_table_and_by_key(chromium, tmp_path, found):
    block = max((b for b in found.report["blocks"] if b["kind"] == "steady"), key=lambda b: b["end_s"] - b["start_s"])
    selects = f"{block['interior_start_s']:.3f} {block['interior_end_s']:.3f}"
    with alone(chromium, tmp_path, found) as page:
        box = layer_of(page)
        middle = (block["start_s"] + block["end_s"]) / 2 - found.trial.start_s
        x = box["x"] + middle / (found.trial.end_s - found.trial.start_s) * box["width"]
        page.mouse.click(x, box["y"] + box["height"] - 10)
        eventually(page, f"document.querySelector('{CARD} [data-window]').dataset.window", selects)
        row = page.locator(f"tr[data-block='{block['id']}']")
        assert row.get_attribute("aria-selected") == "true"
        page.locator(ROW).nth(6).focus()
        page.keyboard.press("Enter")
        eventually(page, f"document.querySelectorAll('{ROW}')[6].getAttribute('aria-selected')", "true")
        handle = page.get_by_role("slider", name="Interval to")
        handle.focus()
        before = float(window_of(page).split()[1])
        page.keyboard.press("Shift+ArrowRight")
        eventually(page, f"Number(document.querySelector('{CARD} [data-window]').dataset.window.split(' ')[1])", before + 10)


def test_zoom_shows_every_sample_and_the_values_under_the_cursor(chromium, tmp_path, found):
    meta = "document.querySelector('#overlay .js-plotly-plot').layout.meta"
    with alone(chromium, tmp_path, found) as page:
        page.evaluate("countercheck.overlay.choose(1200, 1500, true)")
        page.click("#zoom-interval")
        eventually(page, f"{meta}.step_s", 1)
        box = layer_of(page)
        page.mouse.move(box["x"] + 0.5 * box["width"], box["y"] + 60)
        eventually(page, "document.querySelector('#readout-clock').textContent", "at 22:30")
        hub = found.trial.recording(found.trial.reference)
        value = hub.channels["power_w"][abs(hub.time_s - 1350.0).argmin()]
        assert page.inner_text(f"[data-readout='{found.trial.reference}']") == f"{value:.0f}\u202fW"
        page.click("#zoom-whole")
        eventually(page, f"{meta}.view[0]", found.trial.start_s)


def test_every_picture_is_drawn_when_it_is_seen(chromium, tmp_path, found):
    with alone(chromium, tmp_path, found) as page:
        page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
        boxes = page.locator("[data-picture]")
        assert boxes.count() >= 8
        for i in range(boxes.count()):
            boxes.nth(i).scroll_into_view_if_needed()
            eventually(page, f"!!document.querySelectorAll('[data-picture]')[{i}].querySelector('.main-svg')")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_light_and_dark(chromium, tmp_path, found, scheme):
    paper = "getComputedStyle(document.body).backgroundColor"
    ink = "document.querySelector('#overlay .js-plotly-plot').layout.font.color"
    with alone(chromium, tmp_path, found, color_scheme=scheme) as page:
        first, drawn = page.evaluate(paper), page.evaluate(ink)
        assert (sum(map(int, re.findall(r"\d+", first)[:3])) > 384) == (scheme == "light")
        page.click("#theme-switch")
        eventually(page, f"{paper} !== '{first}' && {ink} !== '{drawn}'")


def test_on_a_phone_nothing_pushes_it_sideways(chromium, tmp_path, found):
    with alone(chromium, tmp_path, found, viewport=PHONE, has_touch=True, is_mobile=True) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def test_a_name_cannot_bring_markup_into_the_card(chromium, tmp_path):
    evil = '"><img src=x onerror=alert(1)><b>hub</b>'
    nasty = boathouse(with_names("<i>title</i>", evil, "spider<script>window.caught=1</script>"))
    with alone(chromium, tmp_path, nasty) as page:
        page.evaluate("countercheck.overlay.choose(1200, 1500, true)")
        eventually(page, f"document.querySelector('{CARD}').innerText.startsWith('Interval')")
        assert page.evaluate("window.caught") is None
        assert page.locator("main img, main b, main i, main script").count() == 0
        assert evil in page.inner_text(CARD)


def test_notes_come_along_as_text(chromium, tmp_path, found):
    note = Note(
        note_id="n1", text="chain <b>skipped</b> here", from_s=1200.0, to_s=1260.0, created_utc="2026-01-18T10:00:00Z",
        changed_utc="2026-01-18T10:00:00Z", version=1,
    )  # fmt: skip
    with alone(chromium, tmp_path, found, notes=(note,)) as page:
        assert note.text in page.inner_text(".notes")
        assert page.locator(".note-layer > *").count() >= 1
