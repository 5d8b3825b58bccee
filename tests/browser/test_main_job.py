"""The main job, as issue 2 words it: drop files, read the headline, select an interval, share it. Referee: a browser."""

from __future__ import annotations

import json
import re
import zipfile
from urllib.parse import parse_qs, urlsplit

from driving import RIDE_FILES, chart_drawn, eventually

CARD = "#interval-card [data-window]"


def drop_files(page, paths) -> None:
    """A drag-drop of files as the operating system sends it, all at once."""
    box = page.locator("#drop-zone").bounding_box()
    at = {"x": box["x"] + box["width"] / 2, "y": box["y"] + 20}
    data = {"items": [], "files": [str(p) for p in paths], "dragOperationsMask": 1}
    session = page.context.new_cdp_session(page)
    for kind in ("dragEnter", "dragOver", "drop"):
        session.send("Input.dispatchDragEvent", {"type": kind, **at, "data": data})


def drag_over_chart(page, start_frac: float, end_frac: float, *, steps: int = 12):
    """Drag with the mouse; returns the windows the card showed while the button was still down."""
    page.locator("#scrub-layer").scroll_into_view_if_needed()
    box = page.locator("#scrub-layer").bounding_box()
    y = box["y"] + 120
    page.mouse.move(box["x"] + start_frac * box["width"], y)
    page.mouse.down()
    seen = []
    for i in range(1, steps + 1):
        page.mouse.move(box["x"] + (start_frac + (end_frac - start_frac) * i / steps) * box["width"], y)
        page.wait_for_timeout(60)
        seen.append(page.get_attribute(CARD, "data-window"))
    page.mouse.up()
    return seen


def window_in_address(page) -> tuple[float, float]:
    query = parse_qs(urlsplit(page.url).query)
    return float(query["from"][0]), float(query["to"][0])


def shown_window(page) -> tuple[float, ...]:
    return tuple(float(t) for t in page.get_attribute(CARD, "data-window").split())


def settled(page) -> tuple[float, float]:
    """Wait until card and address tell the same interval."""
    # the address follows a drag a little later, so it may still tell of the way there
    told = "['from', 'to'].map(k => Number(new URLSearchParams(location.search).get(k)).toFixed(3)).join(' ')"
    eventually(page, f"document.querySelector('{CARD}').dataset.window === {told}")
    return window_in_address(page)


def test_from_dropped_files_to_a_shared_interval(open_page, site):
    page = open_page("/")
    page.wait_for_selector("#pick-files", state="attached")
    drop_files(page, RIDE_FILES)
    eventually(page, "document.querySelectorAll('.file-row.good').length", 3)
    page.wait_for_selector("#analyse:not([disabled])")
    page.get_by_label("Title").fill("Dropped")
    page.get_by_label("reference").first.check()
    requests = []
    page.on("request", lambda r: requests.append(r) if r.method == "POST" else None)
    page.click("#analyse")
    chart_drawn(page)
    assert "pedals" in page.inner_text("h1#headline").lower()
    assert page.get_by_text("Edit set-up").count() == 1

    before = page.inner_text("#interval-card")
    live = drag_over_chart(page, 0.42, 0.55)
    assert len(set(live)) >= 4, "the card must follow while the mouse is still down"
    start_s, end_s = settled(page)
    trial = site.services.jobs.ask(urlsplit(page.url).path.split("/")[-1]).open_trial.trial
    span_s = trial.end_s - trial.start_s
    assert abs(start_s - (trial.start_s + 0.42 * span_s)) < 0.01 * span_s
    assert abs(end_s - (trial.start_s + 0.55 * span_s)) < 0.01 * span_s
    assert page.inner_text("#interval-card") != before

    other = open_page(urlsplit(page.url).path + "?" + urlsplit(page.url).query)
    chart_drawn(other)
    assert shown_window(other) == (start_s, end_s)
    assert other.inner_text("#interval-card") == page.inner_text("#interval-card")
    assert other.inner_text("h1#headline") == page.inner_text("h1#headline")
    band = "document.querySelector('.scrub-band').getBoundingClientRect()"
    eventually(other, f"Math.round({band}.left)", page.evaluate(f"Math.round({band}.left)"))
    assert other.get_by_text("Edit set-up").count() == 0
    assert other.locator("#edit-save, #links-panel").count() == 0


def test_only_the_owner_can_change_a_trial(open_page, site):
    """The reader replays, byte for byte, the request with which the owner changes the set-up."""
    owner_key = site.services.store.new_owner_key(site.demo.split("/")[-1])
    owner = open_page(site.demo.replace("/trial/", "/own/") + "/" + owner_key)
    chart_drawn(owner)
    owner.click("text=Edit set-up")
    sent = []
    owner.on("request", lambda r: sent.append(r.post_data) if "edit-form" in (r.post_data or "") else None)
    title = owner.locator("#edit-title")
    before = title.input_value()
    title.fill("Changed by its owner")
    owner.click("#edit-save")
    eventually(owner, "(document.querySelector('.trial-title') || {}).textContent", "Changed by its owner")
    version = site.services.store.trial(site.demo.split("/")[-1]).setup_version

    reader = open_page(site.demo)
    chart_drawn(reader)
    headers = {"Content-Type": "application/json", "Origin": site.address}
    answer = reader.request.post(f"{site.address}/_dash-update-component", data=sent[0], headers=headers)
    told = json.dumps(answer.json())
    assert "Only the owner may change this trial" in told
    assert site.services.store.trial(site.demo.split("/")[-1]).setup_version == version

    owner.locator("#edit-title").fill(before)
    owner.click("#edit-save")
    eventually(owner, "(document.querySelector('.trial-title') || {}).textContent", before)


def test_a_bad_file_costs_only_itself(open_page, watched, tmp_path):
    watched.expected = ("status of 422",)  # the browser's own line about an upload that was refused
    bad = tmp_path / "holiday.fit"
    bad.write_bytes(b"this is not a recording")
    page = open_page("/")
    page.wait_for_selector("#pick-files", state="attached")
    drop_files(page, [RIDE_FILES[0], bad, RIDE_FILES[1], RIDE_FILES[0]])
    eventually(page, "document.querySelectorAll('.file-row.good').length", 2)
    eventually(page, "document.querySelectorAll('.file-row.refused').length", 2)
    refused = page.locator(".file-row.refused .file-outcome").all_inner_texts()
    assert any(re.match(r"holiday\.fit .*\.$", text) for text in refused)
    assert any("is the same file as hub.fit" in text for text in refused)
    page.wait_for_selector("#analyse:not([disabled])")
    page.get_by_role("button", name="Remove spider.fit").click()
    eventually(page, "document.querySelector('#analyse').disabled")


def test_an_archive_becomes_a_row_for_each_file_in_it(open_page, tmp_path):
    rides = tmp_path / "rides.zip"
    with zipfile.ZipFile(rides, "w") as archive:
        for path in RIDE_FILES:
            archive.write(path, f"evening/{path.name}")
        archive.writestr("evening/notes.txt", "remember the torque")
    page = open_page("/")
    page.wait_for_selector("#pick-files", state="attached")
    drop_files(page, [rides])
    eventually(page, "document.querySelectorAll('.file-row.good').length", 3)
    assert page.locator(".file-row .file-name").all_inner_texts() == ["hub.fit", "spider.fit", "pedals.fit", "notes.txt"]
    assert "notes.txt" in page.locator(".file-row.refused .file-outcome").inner_text()
    drop_files(page, [RIDE_FILES[1]])
    eventually(page, "document.querySelectorAll('.file-row.refused').length", 2)
    page.get_by_role("button", name="Remove hub.fit").click()
    eventually(page, "document.querySelectorAll('.recording-row').length", 2)
    page.wait_for_selector("#analyse:not([disabled])")
    page.click("#analyse")
    page.wait_for_selector("h1#headline", timeout=60_000)


def test_a_mistake_on_the_sheet_is_named(open_page):
    page = open_page("/")
    page.wait_for_selector("#pick-files", state="attached")
    page.set_input_files("#pick-files", RIDE_FILES[:2])
    page.wait_for_selector("#analyse:not([disabled])")
    page.get_by_label("Claim, ±").first.fill("about two")
    page.click("#analyse")
    page.wait_for_selector("#sheet-problem .problem")
    assert "claim of hub must be a number" in page.inner_text("#sheet-problem")


def test_what_was_said_of_a_device_is_remembered_and_a_set_up_file_fills_in(open_page):
    page = open_page("/")
    page.wait_for_selector("#pick-files", state="attached")
    page.set_input_files("#pick-files", RIDE_FILES[:2])
    page.wait_for_selector("#analyse:not([disabled])")
    page.get_by_label("Label").nth(1).fill("my spider")
    page.get_by_label("Claim, ±").nth(1).fill("1,5")
    page.get_by_label("Measuring point").nth(1).select_option("crank")
    page.click("#analyse")
    page.wait_for_selector("h1#headline", timeout=60_000)
    page.get_by_role("link", name="New trial").click()
    page.wait_for_selector("#pick-files", state="attached")
    page.set_input_files("#pick-files", RIDE_FILES[:2])
    page.wait_for_selector("#analyse:not([disabled])")
    assert page.get_by_label("Label").nth(1).input_value() == "my spider"
    assert page.get_by_label("Claim, ±").nth(1).input_value() == "1,5"
    assert page.get_by_label("Measuring point").nth(1).input_value() == "crank"
    page.set_input_files("#pick-files", RIDE_FILES[0].parent / "setup.toml")
    eventually(page, "document.querySelector('#new-title').value", "Boathouse, a cold evening")
    assert page.get_by_label("Label").nth(1).input_value() == "spider"


def test_what_was_typed_survives_a_further_file(open_page):
    page = open_page("/")
    page.wait_for_selector("#pick-files", state="attached")
    page.set_input_files("#pick-files", RIDE_FILES[:2])
    page.wait_for_selector("#analyse:not([disabled])")
    page.get_by_label("Firmware").first.fill("9.99")
    page.get_by_label("reference").nth(1).check()
    page.set_input_files("#pick-files", RIDE_FILES[2])
    eventually(page, "document.querySelectorAll('.recording-row').length", 3)
    assert page.get_by_label("Firmware").first.input_value() == "9.99"
    assert page.get_by_label("reference").nth(1).is_checked()
