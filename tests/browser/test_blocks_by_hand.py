"""Blocks changed by hand on the page, and frozen before deltas are seen. Referees: the result's JSON, a reader's own browser."""

from __future__ import annotations

import json

import pytest
from driving import DESK, PHONE, RIDE_FILES, chart_drawn, eventually

from app.links import owner_path, result_path, trial_path

ROWS = "document.querySelectorAll('tr[data-block]').length"


@pytest.fixture
def owned(open_page, site):
    """`owned(**context options)`: the owner's page of a fresh trial; with `hidden=True` before its deltas are shown."""

    def open_one(*, hidden: bool = False, **options):
        store = site.services.store
        demo = store.trial(site.demo.split("/")[-1])
        new = store.create_trial(demo.recordings, demo.setup, blocks_first=hidden)
        page = open_page(owner_path(new.trial_id, new.owner_key), **options)
        chart_drawn(page)
        page.wait_for_selector("form[data-blocks]", state="attached")
        if not hidden:
            page.click("#blocks-panel summary")
        return page, new.trial_id

    return open_one


def report_of(site, trial_id: str) -> dict:
    return site.services.jobs.ask(trial_id).open_trial.report


def named(report: dict, name: str) -> dict:
    return next(b for b in report["blocks"] if b["name"] == name)


def pick(page, block: dict) -> None:
    page.locator(f"tr[data-block='{block['id']}']").click()
    eventually(page, "document.querySelector('#block-choice').value", block["id"])


def signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "−")


def test_an_edge_is_dragged_on_the_strip_and_the_deltas_follow(owned, site):
    page, trial_id = owned()
    block = named(report_of(site, trial_id), "hold 280 top")
    page.evaluate("window.untouched = true")
    pick(page, block)
    handle = page.get_by_role("slider", name="End of the chosen block")
    handle.scroll_into_view_if_needed()
    box, layer = handle.bounding_box(), page.locator("#scrub-layer").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 0.01 * layer["width"], y, steps=4)
    page.mouse.up()
    eventually(page, "(document.querySelector('#edited-by-hand summary') || {}).textContent", "Edited by hand: one change")
    report = report_of(site, trial_id)
    moved = named(report, "hold 280 top")
    assert block["end_s"] - 60 < moved["end_s"] < block["end_s"] - 15
    row = page.locator(f"tr[data-block='{moved['id']}']")
    assert "edited by hand" in row.inner_text()
    delta = next(d for d in report["deltas"] if d["block"] == moved["id"] and d["label"] == "pedals")
    assert signed(delta["delta_pct"]) in row.inner_text()
    eventually(
        page, "document.querySelector('#interval-card [data-window]').dataset.window",
        f"{moved['interior_start_s']:.3f} {moved['interior_end_s']:.3f}",
    )  # fmt: skip
    card = page.inner_text("#interval-card")
    assert "edited by hand" in card
    assert signed(delta["delta_pct"]) in card
    assert page.locator(".block-mark.edited:visible").count() == 2
    assert page.evaluate("window.untouched"), "the page was not loaded anew"


def test_split_exclude_with_reason_undo_and_back_to_automatic(owned, site):
    page, trial_id = owned()
    before = report_of(site, trial_id)
    count = len(before["blocks"])
    pick(page, named(before, "hold 200 up"))
    page.fill("#block-split-at", "16:40")
    page.click("#blocks-split")
    eventually(page, ROWS, count + 1)
    second = next(b for b in report_of(site, trial_id)["blocks"] if b["start_s"] == 1000.0)
    pick(page, second)
    page.click("#blocks-exclude")
    page.wait_for_selector("#blocks-problem [role=alert]")
    assert "Say why" in page.inner_text("#blocks-problem")
    page.fill("#block-reason", "pedal unclipped")
    page.click("#blocks-exclude")
    row = f"tr[data-block='{second['id']}']"
    eventually(page, f"document.querySelector(\"{row}\").classList.contains('excluded')")
    assert page.locator("#blocks-problem [role=alert]").count() == 0
    assert "excluded: pedal unclipped" in page.inner_text(row)
    assert "excluded: pedal unclipped" in page.inner_text("#interval-card")
    assert page.locator(".block-mark.excluded:visible").count() == 1
    summary = next(s for s in report_of(site, trial_id)["summary"] if s["label"] == "pedals" and s["kind"] == "steady")
    shown = page.locator(".verdict-lines li", has_text="pedals").locator(".big-delta").inner_text()
    assert shown.startswith(signed(summary["delta_pct"]))
    assert page.locator("#blocks-exclude:visible").count() == 0
    page.click("#blocks-include")
    eventually(page, f"document.querySelector(\"{row}\").classList.contains('excluded')", False)
    page.click("#blocks-undo")
    eventually(page, ROWS, count)

    pick(page, named(before, "hold 240 up"))
    page.fill("#block-name", "hold, second")
    page.click("#blocks-relabel")
    eventually(page, "document.querySelector('#edited-by-hand summary').textContent", "Edited by hand: one change")
    page.click("#blocks-automatic")
    assert "Press again to take back one change" in page.inner_text("#blocks-automatic")
    page.click("#blocks-automatic")
    eventually(page, "document.querySelector('#blocks-undo').disabled")
    assert report_of(site, trial_id) == before


def test_a_reader_sees_marks_and_list_but_no_tools_and_is_refused(owned, open_page, site):
    page, trial_id = owned()
    sent = []
    page.on("request", lambda r: sent.append(r.post_data) if '"act"' in (r.post_data or "") else None)
    pick(page, named(report_of(site, trial_id), "hold 200 up"))
    page.fill("#block-reason", "phone rang")
    page.click("#blocks-exclude")
    page.wait_for_selector("#edited-by-hand")

    reader = open_page(trial_path(trial_id))
    chart_drawn(reader)
    assert reader.locator("#blocks-panel, .block-edge, #freeze").count() == 0
    assert "block at 15:03 excluded: phone rang" in reader.inner_text("#edited-by-hand")
    assert reader.locator(".block-mark.excluded:visible").count() == 1
    assert "not frozen before" in reader.inner_text("#blocks-origin")
    version = site.services.store.trial(trial_id).setup_version
    headers = {"Content-Type": "application/json", "Origin": site.address}
    body = sent[0].replace('"act":"exclude"', '"act":"automatic"').replace('"seen":"1"', '"seen":"2"')
    answer = reader.request.post(f"{site.address}/_dash-update-component", data=body, headers=headers)
    assert "Only the owner may change this trial" in json.dumps(answer.json())
    assert site.services.store.trial(trial_id).setup_version == version


def test_a_second_window_left_open_is_told_to_reload(owned, site):
    page, trial_id = owned()
    other = page.context.new_page()
    other.goto(page.url)
    chart_drawn(other)
    other.click("#blocks-panel summary")
    for window in (page, other):
        window.fill("#block-split-at", "0:30")
        window.click("#blocks-split")
        window.wait_for_selector("#edited-by-hand, #blocks-problem [role=alert]")
    assert "reload the page" in other.inner_text("#blocks-problem")
    assert len(site.services.store.trial(trial_id).setup.edits) == 1


def test_edges_by_keyboard(owned, site):
    page, trial_id = owned()
    block = named(report_of(site, trial_id), "hold 200 up")
    pick(page, block)
    edge = page.get_by_role("slider", name="Start of the chosen block")
    edge.focus()
    for key in ("ArrowRight", "Shift+ArrowRight", "ArrowLeft"):
        page.keyboard.press(key)
    assert edge.get_attribute("aria-valuetext") == "15:13"
    assert page.input_value("#block-new-start") == "15:13"
    page.keyboard.press("Escape")
    assert edge.get_attribute("aria-valuetext") == "15:03"
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("Enter")
    page.wait_for_selector("#edited-by-hand")
    assert named(report_of(site, trial_id), "hold 200 up")["start_s"] == block["start_s"] + 10
    assert page.evaluate("document.activeElement.id") == "block-edge-start", "focus stays where the work is"
    page.get_by_label("Start", exact=True).fill("15:20")
    page.keyboard.press("Enter")
    eventually(page, "document.querySelector('#edited-by-hand summary').textContent", "Edited by hand: 2 changes")


def test_nothing_of_a_delta_is_seen_before_the_blocks_are_frozen(owned, open_page, site, watched):
    page, trial_id = owned(hidden=True)
    assert "deltas are not shown yet" in page.inner_text("h1")
    assert page.locator(".delta-pct, .verdict, .verdict-lines, [data-device]").count() == 0
    assert page.locator(".legend li").count() == 1
    bodies = []
    page.on("response", lambda r: bodies.append(r.text()) if "_dash-update" in r.url else None)
    pick(page, named(report_of(site, trial_id), "hold 200 up"))
    eventually(page, "document.querySelector('#interval-card').innerText.includes('hold 200 up')")
    page.fill("#block-reason", "pedal unclipped")
    page.click("#blocks-exclude")
    page.wait_for_selector("#edited-by-hand")
    assert bodies
    assert not any("delta-verdict" in b or "allowance" in b for b in bodies)
    assert page.request.get(site.address + result_path(trial_id)).status == 403

    reader = open_page(trial_path(trial_id))
    chart_drawn(reader)
    assert reader.locator("#freeze, #blocks-panel").count() == 0
    assert reader.locator(".delta-pct, .verdict-lines").count() == 0

    page.click("#freeze")
    page.wait_for_selector(".verdict-lines")
    frozen = report_of(site, trial_id)["frozen"]
    reader.reload()
    chart_drawn(reader)
    words = reader.inner_text(".frozen-words")
    assert "before the deltas were shown" in words
    assert frozen["hash"][:12] in words
    assert "still those" in words
    assert frozen["date"][:10] in words
    pick(page, named(report_of(site, trial_id), "hold 280 top"))
    page.click("#blocks-merge")
    eventually(page, "document.querySelector('.frozen-words').innerText.includes('no longer those')")


def test_the_choice_is_offered_before_analyse(open_page, site):
    page = open_page("/")
    page.wait_for_selector("#pick-files", state="attached")
    page.set_input_files("#pick-files", RIDE_FILES)
    page.wait_for_selector("#analyse:not([disabled])")
    page.get_by_label("First show the blocks without deltas").check()
    page.click("#analyse")
    chart_drawn(page)
    assert "deltas are not shown yet" in page.inner_text("h1")
    assert site.services.store.trial(page.url.split("/")[-1]).deltas_hidden


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize(("viewport", "scheme"), [(DESK, "dark"), (PHONE, "light"), (PHONE, "dark")])
def test_it_fits_and_every_control_has_a_name(owned, site, viewport, scheme, hidden):
    page, trial_id = owned(hidden=hidden, viewport=viewport, color_scheme=scheme)
    pick(page, named(report_of(site, trial_id), "hold 200 up"))
    page.fill("#block-reason", "a reason that is long enough to need more than one line on a phone, told to readers")
    page.click("#blocks-exclude")
    page.wait_for_selector("#edited-by-hand")
    width = viewport["width"]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    wide = page.evaluate(
        """[...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1
           && !e.closest('.table-box, .chart-box, .hidden-text, option') && getComputedStyle(e).position !== 'absolute')
           .map(e => e.outerHTML.slice(0, 80))"""
    )
    assert wide == []
    nameless = page.evaluate(
        """[...document.querySelectorAll('#blocks-panel :is(button, input:not([type=hidden]), select), .block-edge')]
           .filter(e => e.offsetParent && !(e.innerText || e.getAttribute('aria-label') || (e.labels && e.labels.length)))
           .map(e => e.outerHTML.slice(0, 100))"""
    )
    assert nameless == []
    small = page.evaluate(
        """[...document.querySelectorAll('#blocks-panel button, .block-edge')].filter(e => e.offsetParent)
           .map(e => e.getBoundingClientRect()).filter(b => b.width < 24 || b.height < 24).length"""
    )
    assert small == 0
