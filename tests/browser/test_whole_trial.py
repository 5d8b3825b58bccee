"""A whole trial dropped onto the home page becomes one's own. Referee: a browser that holds no key yet."""

from __future__ import annotations

import time

from app import links

OPENER = "text=Open as a trial of your own"


def everything_of(site, chromium) -> bytes:
    """The built-in trial as its owner takes it away."""
    trial_id = links.parse(site.demo).trial_id
    context = chromium.new_context()
    context.request.get(site.address + links.owner_path(trial_id, site.services.store.new_owner_key(trial_id)))
    end = time.monotonic() + 60
    answer = context.request.get(site.address + links.everything_path(trial_id))
    while answer.status == 503 and time.monotonic() < end:
        time.sleep(0.2)
        answer = context.request.get(site.address + links.everything_path(trial_id))
    data = answer.body()
    context.close()
    assert answer.status == 200, data[:200]
    return data


def dropped(page, data: bytes):
    page.wait_for_selector("#pick-files", state="attached")
    page.set_input_files("#pick-files", {"name": "everything.zip", "mimeType": "application/zip", "buffer": data})
    page.wait_for_selector(".file-row.whole, .file-row.refused")


def test_dropped_onto_the_page_it_is_told_and_opens_as_ones_own(open_page, site, chromium):
    page = open_page("/")
    dropped(page, everything_of(site, chromium))
    told = page.inner_text(".file-row.whole .file-outcome")
    assert "a whole trial, “Boathouse, a cold evening”" in told
    assert "hub.fit" in told
    assert page.locator("#sheet form").count() == 0  # nothing to fill in
    page.click(OPENER)
    page.wait_for_url("**/trial/*")
    page.wait_for_selector("#headline")
    page.wait_for_selector("a[download='everything.zip']", state="attached")  # only owners have it
    assert page.url != site.address + site.demo


def test_a_damaged_one_is_a_sentence_at_its_row(open_page, site, chromium, watched):
    watched.expected = ("422",)  # the console notes every answer that is none
    page = open_page("/")
    data = everything_of(site, chromium)
    dropped(page, data[:3000] + bytes([data[3000] ^ 1]) + data[3001:])
    told = page.inner_text(".file-row.refused")
    assert "everything.zip" in told
    assert "take" in told
    assert page.locator(OPENER).count() == 0


def test_on_a_phone_nothing_runs_off_the_side(open_page, site, chromium):
    page = open_page("/", viewport={"width": 375, "height": 720})
    dropped(page, everything_of(site, chromium))
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert page.locator(OPENER).bounding_box()["height"] >= 24  # WCAG 2.2, 2.5.8
