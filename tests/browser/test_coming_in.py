"""Coming in and changing it later, on the demo's files and on a trial made from a real ride. Referees: the store, the result."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
import pytest
from driving import RIDE_FILES, chart_drawn, eventually
from test_main_job import drop_files

from analysis.reading import read
from analysis.setup import DeviceSetup, Setup
from app.links import owner_path

RIDES = Path(__file__).resolve().parents[3] / "shared" / "rides"
GOOD = "document.querySelectorAll('.file-row.good').length"


def ready(page, files) -> None:
    page.wait_for_selector("#pick-files", state="attached")
    page.set_input_files("#pick-files", files)
    page.wait_for_selector("#analyse:not([disabled])")


def test_a_dropped_folder_brings_its_recordings_and_counts_the_rest(open_page, tmp_path):
    folder = tmp_path / "evening" / "deeper"
    folder.mkdir(parents=True)
    for path in RIDE_FILES[:2]:
        (folder / path.name).write_bytes(path.read_bytes())
    (folder / "photo.jpg").write_bytes(b"no recording")
    page = open_page("/")
    page.wait_for_selector("#pick-files", state="attached")
    drop_files(page, [tmp_path / "evening", RIDE_FILES[2]])
    eventually(page, GOOD, 3)
    eventually(page, "document.querySelector('#file-count').textContent", "3 recordings ready, 1 other file passed over.")
    assert "FIT" in page.inner_text(".file-row.good >> nth=0")


def test_a_busy_server_is_asked_again_and_a_lost_connection_by_hand(open_page, watched):
    watched.expected = ("status of 429", "Failed to load resource", "ERR_FAILED")
    page = open_page("/")
    answers = []

    def busy(route):
        answers.append(len(answers))
        if len(answers) == 1:
            body = json.dumps({"error": "The server is busy; you are the 3rd in line."})
            return route.fulfill(status=429, headers={"Retry-After": "1", "Content-Type": "application/json"}, body=body)
        return route.abort() if len(answers) == 2 else route.fallback()

    page.route("**/upload", busy)
    page.wait_for_selector("#pick-files", state="attached")
    page.set_input_files("#pick-files", RIDE_FILES[:1])
    page.wait_for_selector("text=you are the 3rd in line")
    page.wait_for_selector("text=did not arrive")
    page.get_by_role("button", name="Try again hub.fit").click()
    eventually(page, GOOD, 1)


def test_a_plan_is_pasted_changed_and_goes_into_the_set_up_by_keyboard(open_page, site):
    page = open_page("/")
    ready(page, RIDE_FILES[:2])
    page.locator("#new-obtained-" + page.locator("[name=reference]").first.get_attribute("value")).fill("lent by a reader")
    page.locator(".plan-fields > summary").focus()
    page.keyboard.press("Enter")
    page.click("text=Paste or type a list")
    page.fill("#new-plan-list", "hold, soon, 200")
    page.click("[data-plan-take=list]")
    page.wait_for_selector("text=length in step 1 of the ride plan")
    page.fill("#new-plan-list", "hold 200, 10:00, 200\nsprint, 0:15, , transient")
    page.click("[data-plan-take=list]")
    eventually(page, "document.querySelectorAll('[data-plan-rows] [data-plan-row]').length", 2)
    assert page.evaluate("document.activeElement.value") == "hold 200"
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")  # behind the last one: a new row
    page.keyboard.type("easy")
    page.keyboard.press("Tab")
    page.keyboard.type("5:00")
    page.click("#analyse")
    page.wait_for_selector("h1#headline", timeout=60_000)
    trial_id = urlsplit(page.url).path.split("/")[-1]
    setup = site.services.store.trial(trial_id).setup
    assert [(s.name, s.duration_s, s.target_w, s.kind) for s in setup.plan] == [
        ("hold 200", 600.0, 200.0, "steady"), ("sprint", 15.0, None, "transient"), ("easy", 300.0, None, "steady"),
    ]  # fmt: skip
    assert setup.devices[0].obtained == "lent by a reader"
    report = site.services.jobs.ask(trial_id).open_trial.report
    assert report["recordings"][0]["obtained"] == "lent by a reader", "readers of the page are told"


def test_what_is_remembered_is_said_and_forgotten(open_page):
    page = open_page("/")
    ready(page, RIDE_FILES[:2])
    page.get_by_label("Label").nth(1).fill("my spider")
    page.click("#analyse")
    page.wait_for_selector("h1#headline", timeout=60_000)
    page.get_by_role("link", name="New trial").click()
    ready(page, RIDE_FILES[:2])
    kept = page.evaluate("localStorage.getItem('countercheck.devices')")
    assert "my spider" in kept and "serial" not in kept
    assert "my spider" in page.inner_text(".remembered")
    page.click("[data-forget]")
    eventually(page, "document.querySelectorAll('.remembered').length", 0)
    assert page.get_by_label("Label").nth(1).input_value() == "spider"
    assert page.evaluate("localStorage.getItem('countercheck.devices')") is None


def real_trial(site):
    """A real ride, and a copy with another gain and clock as its second device."""
    if not RIDES.is_dir():
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)("The folder of real rides is not beside the project.")
    own = read((RIDES / "ride-03-indoor.fit").read_bytes(), name="own.fit")
    frame = own.samples.copy()
    noise = np.random.default_rng(4).standard_normal(len(frame))
    frame["power_w"] = np.clip(np.round(1.05 * frame["power_w"] * (1 + 0.01 * noise)), 0, None)
    frame["time_s"] = frame["time_s"] + 7.35
    copy = replace(own, name="copy.fit", sha256="1" * 64, samples=frame, facts={})
    pairs = [(site.services.store.put_recording(r), r.name) for r in (replace(own, facts={}), copy)]
    devices = (DeviceSetup(file="own.fit", label="own", point="hub"), DeviceSetup(file="copy.fit", label="copy", point="pedal"))
    return site.services.store.create_trial(pairs, Setup(reference="own", devices=devices))


def demo_trial(site):
    demo = site.services.store.trial(site.demo.split("/")[-1])
    return site.services.store.create_trial(demo.recordings, demo.setup)


@pytest.mark.parametrize("made", [demo_trial, real_trial])
def test_every_choice_is_changed_in_place(open_page, site, made):
    new = made(site)
    page = open_page(owner_path(new.trial_id, new.owner_key))
    chart_drawn(page)
    page.evaluate("window.untouched = true; window.countercheck.overlay.choose(300, 900, true)")
    eventually(page, "document.querySelector('#interval-card [data-window]').dataset.window", "300.000 900.000")
    page.click("#owner-panel summary")
    page.locator("[id^=edit-claim-]").nth(1).fill("0,5")
    page.locator("[id^=edit-firmware-]").nth(1).fill("9.9")
    page.locator("[id^=edit-obtained-]").nth(1).fill("bought")
    page.locator("[id^=edit-sides-]").nth(1).select_option("left")
    page.fill("#edit-title", "Second thoughts")
    page.fill("#edit-loss-high", "3")
    page.click(".plan-fields > summary")
    page.click("#owner-panel [data-plan-clear]")
    page.click("#owner-panel [data-plan-add]")
    page.keyboard.type("warm-up")
    page.keyboard.press("Tab")
    page.keyboard.type("5:00")
    page.locator("#edit-save").scroll_into_view_if_needed()
    before = page.evaluate("document.querySelector('#edit-save').getBoundingClientRect().top")
    page.click("#edit-save")
    eventually(page, "(document.querySelector('.trial-title') || {}).textContent", "Second thoughts", timeout_ms=30_000)
    eventually(page, "document.activeElement.id", "edit-save")
    setup = site.services.store.trial(new.trial_id).setup
    device = setup.devices[1]
    assert (device.claim_pct, device.firmware, device.obtained, device.sides) == (0.5, "9.9", "bought", "left")
    assert (setup.loss_pct[1], [s.name for s in setup.plan]) == (3.0, ["warm-up"])
    found = site.services.jobs.ask(new.trial_id).open_trial
    assert found.report["recordings"][1]["claim_pct"] == 0.5
    eventually(page, "document.querySelector('#interval-card [data-window]').dataset.window", "300.000 900.000")
    assert page.evaluate("window.untouched"), "the page was not loaded anew"
    assert page.locator("#owner-panel").get_attribute("open") is not None
    after = page.evaluate("document.querySelector('#edit-save').getBoundingClientRect().top")
    assert abs(after - before) < 60, "what the owner looks at stays where it was"

    # another reference starts another clock: the interval stays at the same seconds of the ride
    by_s = float(round(found.trial.recordings[1].time_s[0]))
    page.locator("#owner-panel [name=reference]").nth(1).check()
    page.click("#edit-save")
    label = found.trial.labels[1]
    eventually(page, "(document.querySelector('.held-against .label-text') || {}).textContent", label, timeout_ms=30_000)
    window = f"{300 - by_s:.3f} {900 - by_s:.3f}"
    eventually(page, "document.querySelector('#interval-card [data-window]').dataset.window", window)
    eventually(page, "new URLSearchParams(location.search).get('from')", f"{300 - by_s:.1f}")


def test_whoever_leaves_and_comes_back_finds_files_and_choices_until_they_are_a_trial(open_page):
    page = open_page("/")
    ready(page, RIDE_FILES[:2])
    page.get_by_label("Label").nth(1).fill("my spider")
    page.get_by_label("Label").nth(1).press("Tab")
    page.locator("input[name=reference]").nth(1).check()
    page.reload()
    page.wait_for_selector("#analyse:not([disabled])")
    assert page.locator(".file-row.good .file-name").all_inner_texts() == ["hub.fit", "spider.fit"]
    assert page.get_by_label("Label").nth(1).input_value() == "my spider"
    assert page.locator("input[name=reference]").nth(1).is_checked()
    drop_files(page, [RIDE_FILES[1], RIDE_FILES[2]])  # one that is here already, one more
    eventually(page, GOOD, 3)
    assert "is the same file as spider.fit" in page.inner_text(".file-row.refused")
    page.get_by_role("button", name="Remove pedals.fit").click()
    eventually(page, GOOD, 2)
    page.click("#analyse")
    page.wait_for_selector("h1#headline", timeout=60_000)
    assert "my spider" in page.inner_text(".legend li:has(.small)"), "the reference that was chosen"
    page.get_by_role("link", name="New trial").click()
    page.wait_for_selector("#pick-files", state="attached")
    page.wait_for_timeout(500)
    assert page.locator(".file-row").count() == 0


def test_files_dropped_while_others_are_on_their_way_and_thirty_at_once(open_page, tmp_path, watched):
    watched.expected = ("status of 422", "Failed to load resource")
    page = open_page("/")
    page.wait_for_selector("#pick-files", state="attached")
    held, holding = [], [True]
    page.route("**/upload", lambda route: held.append(route) if holding else route.continue_())
    drop_files(page, [RIDE_FILES[0]])
    page.wait_for_selector(".file-row.sending")
    many = []
    for i in range(29):
        rows = "\n".join(f"{1_768_673_100 + t},{150 + i + t % 40}" for t in range(300))
        (file := tmp_path / f"device {i}.csv").write_text(f"time,power\n{rows}")
        many.append(file)
    (broken := tmp_path / "broken.fit").write_bytes(b"no recording at all")
    drop_files(page, [*many, broken])
    eventually(page, "document.querySelectorAll('.file-row').length", 31)
    assert page.locator("#analyse:not([disabled])").count() == 0
    page.get_by_role("button", name="Remove device 7.csv").click()
    holding.clear()
    for route in held:
        route.continue_()
    eventually(page, GOOD, 29, timeout_ms=60_000)
    eventually(page, "document.querySelector('#file-count').textContent", "29 recordings ready, 1 not usable.")
    assert "broken.fit" in page.inner_text(".file-row.refused")
    page.wait_for_selector("#analyse:not([disabled])")
    page.click("#analyse")
    page.wait_for_selector("#sheet-problem .problem", timeout=30_000)
    assert "At most 24 recordings fit into one trial; got 29." in page.inner_text("#sheet-problem")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
