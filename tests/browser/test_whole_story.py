"""From a plan to a page on a phone, as a reviewer goes: plan, ride files, trial, dossier of three trials and two firmwares, link.

Referee: what each step hands to the next.
"""

from __future__ import annotations

from dataclasses import replace
from urllib.parse import urlsplit

from driving import PHONE, RIDE_FILES, chart_drawn, eventually
from other_days import ridden_again

from app.links import trial_path


def test_from_a_plan_to_a_published_dossier_on_a_phone(open_page, site):
    page = open_page("/plan")
    page.get_by_role("button", name="Its core").click()
    page.get_by_role("button", name="Freeze with date and hash").click()
    page.get_by_role("link", name="Use this plan for a new trial").click()

    page.wait_for_selector("#file-slot input[type=file]", state="attached")
    page.locator("#file-slot input[type=file]").first.set_input_files(RIDE_FILES)
    eventually(page, "document.querySelectorAll('.file-row.good').length", 3, timeout_ms=30_000)
    page.wait_for_selector("form[data-sheet=new] [data-plan-rows] [data-plan-row]", state="attached", timeout=30_000)
    page.get_by_label("Title").fill("First evening")
    page.get_by_label("reference").first.check()
    page.click("#analyse")
    chart_drawn(page)
    first = urlsplit(page.url).path
    assert "the plan did not come first" in page.inner_text("#ridden-after"), "the built-in ride is older than this plan"

    store = site.services.store
    kept = store.trial(first.rsplit("/", 1)[1])
    assert len(kept.setup.plan) > 30, "the plan came along"
    others = [_again(store, kept, title, n) for n, title in enumerate(("Second evening", "Third evening"), start=1)]

    page.goto(site.address + "/dossier")
    page.fill("form[data-dossier=new] [name=title]", "Pedals under review")
    page.fill("form[data-dossier=new] [name=device]", "pedals")
    page.click("form[data-dossier=new] button[type=submit]")
    page.wait_for_url("**/dossier/*")
    page.wait_for_selector("h1#headline")
    page.click("details[data-fold=add-trial] > summary")
    for n, link in enumerate((first, *others), start=1):
        page.fill("details[data-fold=add-trial] [name=link]", site.address + link)
        for _ in range(60):
            page.click("details[data-fold=add-trial] button[type=submit]")
            page.wait_for_timeout(700)
            if page.locator("#evidence tbody tr").count() == n:
                break
    page.click("#dossier-links-panel > summary")
    page.click("#dossier-links-panel form:has(input[value=new-reader]) button")
    told = page.wait_for_selector("#dossier-links-panel .link-row .owner-path").inner_text()

    phone = open_page(urlsplit(told).path, viewport=PHONE, color_scheme="dark")
    phone.wait_for_selector("h1#headline")
    assert phone.inner_text("h1#headline").startswith("Firmware 2.10: ")
    assert phone.locator("#evidence tbody tr").count() == 3
    assert phone.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    phone.click("#evidence tbody tr:first-child a")
    chart_drawn(phone)
    assert phone.get_by_text("Edit set-up").count() == 0, "a reader of the dossier is a reader of its trials"


def _again(store, kept, title: str, n: int) -> str:
    """The ride once more n days later, with the next firmware."""
    devices = tuple(replace(d, firmware="2.10") if d.label == "pedals" else d for d in kept.setup.devices)
    setup = replace(kept.setup, title=title, devices=devices)
    return trial_path(store.create_trial(ridden_again(store, kept.recordings, n), setup).trial_id)
