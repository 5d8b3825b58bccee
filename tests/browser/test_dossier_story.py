"""From rides to a published dossier, in a real browser. Referees: the trials' own results, what a reader can and cannot do."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import replace

import frictionless
import pytest
from driving import DESK, PHONE, eventually
from other_days import ridden_again

from app.links import trial_path

PANEL = "#dossier-links-panel"
READY = "Boolean(document.querySelector('h1#headline'))"


@pytest.fixture(scope="module")
def three_trials(site):
    """The built-in ride three times, the last two with another firmware and a clock one second off by hand."""
    store = site.services.store
    demo = store.trial(site.demo.rsplit("/", 1)[1])
    links = []
    for i, firmware in enumerate(("2.07", "2.10", "2.10")):
        devices = tuple(
            replace(d, firmware=firmware, claim_pct=1.5 + 0.1 * i) if d.label == "pedals" else d for d in demo.setup.devices
        )
        setup = replace(demo.setup, title=f"Evening {i + 1}", devices=devices)
        links.append(trial_path(store.create_trial(ridden_again(store, demo.recordings, i), setup).trial_id))
    return links


def started(open_page, **options):
    page = open_page("/dossier", **options)
    page.fill("form[data-dossier=new] [name=title]", "Pedals under review")
    page.fill("form[data-dossier=new] [name=device]", "pedals")
    page.click("form[data-dossier=new] button[type=submit]")
    page.wait_for_url("**/dossier/*")
    page.wait_for_selector("h1#headline")
    return page


def add_trial(page, site, link, count):
    if page.locator("details[data-fold=add-trial]").get_attribute("open") is None:
        page.click("details[data-fold=add-trial] > summary")
    page.fill("details[data-fold=add-trial] [name=link]", site.address + link)
    for _ in range(60):
        page.click("details[data-fold=add-trial] button[type=submit]")
        page.wait_for_timeout(700)
        if page.locator("#evidence tbody tr").count() == count:
            return
    raise AssertionError(f"{page.inner_text('#dossier-said')!r}")


def keep(page, part):
    page.click(f"details[data-fold={part}] button[type=submit]")
    eventually(page, "document.querySelector('#dossier-said').textContent.includes('Kept')")


def panel(page):
    if page.locator(PANEL).get_attribute("open") is None:
        page.click(f"{PANEL} > summary")


def filled(page, act, **fields):
    panel(page)
    form = page.locator(f"{PANEL} form:has(input[name=act][value={act}])").last
    for name, value in fields.items():
        form.locator(f"[name={name}]").fill(value)
    form.locator("button").click()


def published(page):
    """The address of a first reader link."""
    filled(page, "new-reader", label="the club")
    page.wait_for_selector(f"{PANEL} [aria-label='Copy the club']")
    return page.inner_text(f"{PANEL} .link-row .owner-path")


def test_from_trials_of_two_firmwares_to_a_page_that_a_phone_reads(open_page, site, three_trials):
    page = started(open_page)
    for n, link in enumerate(three_trials, start=1):
        add_trial(page, site, link, n)
    assert page.inner_text("h1#headline").startswith("Firmware 2.10: ")

    page.click("details[data-fold=bench] > summary")
    page.select_option("select[data-preset]", label="stack height, axle centre to cleat interface")
    row = "details[data-fold=bench] [data-row]"
    for name, value in (("device", "pedals"), ("row.claimed", "14"), ("row.readings", "14,3 14.35 14.4"), ("row.setup", "0.5")):
        page.fill(f"{row} [name='{name}']", value)
    keep(page, "bench")
    assert "agrees" in page.inner_text("#bench tbody")

    page.click("details[data-fold=words] > summary")
    page.fill("details[data-fold=words] [name=conclusion]", "<b>Reads high</b> when warm.")
    keep(page, "words")
    # "Kept." stood there already, from the bench sheet: what is typed before the page comes anew would be lost
    eventually(page, "document.querySelector('#conclusion').textContent.includes('Reads high')")

    path = published(page).removeprefix(site.address)
    phone = open_page(path, viewport=PHONE, color_scheme="dark")
    eventually(phone, READY)
    assert "<b>Reads high</b> when warm." in phone.inner_text("#conclusion"), "what was typed is text"
    assert phone.locator(".dossier-editor, form").count() == 0
    eventually(phone, "document.querySelectorAll('#why .main-svg').length > 0")
    assert phone.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert phone.locator("#evidence tbody tr").count() == 3


def test_the_figures_are_those_of_the_trials(open_page, site, three_trials):
    page = started(open_page)
    add_trial(page, site, three_trials[0], 1)
    report = json.loads(page.request.get(f"{site.address}{three_trials[0]}/result.json").text())
    held = next(s for s in report["summary"] if s["label"] == "pedals" and s["kind"] == "steady")
    shown = page.inner_text("#evidence tbody tr")
    assert f"{held['delta_pct']:+.1f}" in shown
    assert all(f"{edge:+.1f}" in shown for edge in held["delta_pct_ci"])


def test_two_owners_at_once_and_slips_of_the_keyboard_lose_nothing(open_page, site, three_trials):
    page = started(open_page)
    path = page.evaluate("location.pathname")
    store = site.services.store
    page.click("details[data-fold=firmware] > summary")
    page.click("details[data-fold=firmware] [data-add-row]")
    page.fill("details[data-fold=firmware] [name=version]", "2.07")
    found = store.dossiers.of(path.rsplit("/", 1)[1])
    store.dossiers.change(found.address, replace(found.dossier, conclusion="from elsewhere"), seen_version=found.version)
    page.click("details[data-fold=firmware] button[type=submit]")
    eventually(page, "document.querySelector('#dossier-said').textContent.includes('Somebody else changed this dossier')")
    assert page.input_value("details[data-fold=firmware] [name=version]") == "2.07", "what was typed is still there"
    assert store.dossiers.of(found.address).dossier.conclusion == "from elsewhere"


def test_a_further_owner_link_works_until_it_is_revoked(open_page, watched):
    watched.expected = ("404",)
    page = started(open_page)
    path = page.evaluate("location.pathname")
    filled(page, "new-owner", label="laptop")
    link = page.wait_for_selector(f"{PANEL} .notice.caution .owner-path").text_content()
    other = open_page(link[link.index("/own-dossier") :])
    other.wait_for_selector(".dossier-editor")
    page.click(f"{PANEL} [aria-label='Revoke laptop']")
    page.wait_for_selector(f"{PANEL} .closed-links")
    assert other.goto(other.url).status == 404
    assert page.goto(page.url).status == 200
    assert page.evaluate("location.pathname") == path


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_a_phone_the_panel_of_links_fits_and_the_dossier_can_be_deleted_by_keyboard(open_page, site, watched, scheme):
    page = started(open_page, viewport=PHONE, color_scheme=scheme)
    filled(page, "new-reader", label="a long name for the club of riders behind the weir")
    page.wait_for_selector(f"{PANEL} [aria-label^='Copy a long name']")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.focus("#links-confirm")
    page.keyboard.type("delete")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('This dossier is deleted')")
    watched.expected = ("404",)
    assert page.request.get(page.url).status == 404


def test_the_package_and_the_page_leave_the_server_whole(open_page, site, three_trials, tmp_path, watched, chromium):
    page = started(open_page)
    add_trial(page, site, three_trials[0], 1)
    with page.expect_download() as got:
        page.click("a:has-text('Data package')")
    with zipfile.ZipFile(io.BytesIO(got.value.path().read_bytes())) as archive:
        archive.extractall(tmp_path)
    assert frictionless.validate(str(tmp_path / "datapackage.json")).valid
    with page.expect_download() as got:
        page.click("a:has-text('The page as one file')")
    got.value.save_as(tmp_path / "page.html")
    text = (tmp_path / "page.html").read_text()
    assert three_trials[0] not in text, "the file does not give the trial's link away"
    context = chromium.new_context(viewport=DESK, offline=True)
    alone = context.new_page()
    watched.follow(alone)
    alone.goto((tmp_path / "page.html").as_uri())
    eventually(alone, "document.querySelectorAll('#why .main-svg').length > 0")
    assert alone.inner_text("h1#headline") == page.inner_text("h1#headline")
    context.close()


def test_nobody_else_opens_a_dossier_that_is_not_published_nor_changes_one_that_is(open_page, site, watched):
    watched.expected = ("404",)
    page = started(open_page)
    path = page.evaluate("location.pathname")
    stranger = open_page(path)
    assert stranger.request.get(site.address + path).status == 404
    reader = published(page).rsplit("/", 1)[1]
    sent = {
        "output": "..dossier-content.children...dossier-said.children...dossier-lead.href..",
        "outputs": [{"id": i, "property": p} for i, p in (("dossier-content", "children"), ("dossier-said", "children"),
                                                          ("dossier-lead", "href"))],
        "inputs": [{"id": "dossier-form", "property": "data", "value": {"act": "delete", "rows": [{"sure": "delete"}]}}],
        "state": [{"id": "dossier-address", "property": "data", "value": reader}],
        "changedPropIds": ["dossier-form.data"],
    }  # fmt: skip
    answer = stranger.request.post(f"{site.address}/_dash-update-component", data=sent, headers={"Origin": site.address})
    assert "Only the owner may change this dossier" in answer.text()
    assert site.services.store.dossiers.of(reader) is not None
