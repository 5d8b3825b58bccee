"""The owner's panel of links in a real browser: new links, an end, the last word. Referees: what other browsers then get."""

from __future__ import annotations

import pytest
from driving import PHONE, chart_drawn, eventually

from app.links import owner_path, trial_path

STATUS = "async path => (await fetch(path)).status"


@pytest.fixture
def owned(open_page, site):
    """`owned(**context options)`: the owner's page of a fresh trial, its panel unfolded."""

    def open_one(**options):
        store = site.services.store
        demo = store.trial(site.demo.split("/")[-1])
        new = store.create_trial(demo.recordings, demo.setup)
        page = open_page(owner_path(new.trial_id, new.owner_key), **options)
        chart_drawn(page)
        page.click("#links-panel > summary")
        return page, new

    return open_one


def rows(page, heading: str) -> int:
    script = (
        "h => { let n = 0, e = [...document.querySelectorAll('#links-panel h3')].find(x => x.textContent === h)"
        ".nextElementSibling; for (; e && e.tagName !== 'H3'; e = e.nextElementSibling) n += e.matches('.link-row'); return n; }"
    )
    return page.evaluate(script, heading)


def filled(page, act: str, **fields: str) -> None:
    form = page.locator(f"#links-panel form:has(input[name=act][value={act}])").last
    for name, value in fields.items():
        form.locator(f"[name={name}]").fill(value)
    form.locator("button").click()


def test_readers_come_by_the_new_link_until_it_is_revoked(owned, open_page, site, watched):
    page, new = owned()
    filled(page, "new-reader", label="the club", expires="2199-12-31")
    page.wait_for_selector("#links-panel [aria-label='Copy the club']")
    token = site.services.store.links.of(new.trial_id).readers[1].name
    reader = open_page(trial_path(token))
    chart_drawn(reader)
    assert reader.locator("#links-panel, #owner-panel").count() == 0
    page.click("#links-panel [aria-label='Revoke the club']")
    page.wait_for_selector("#links-panel .closed-links")
    watched.expected = ("404",)
    assert reader.evaluate(STATUS, trial_path(token)) == 404
    assert reader.evaluate(STATUS, trial_path(new.trial_id)) == 200


def test_revoking_the_last_reader_link_leads_its_owner_to_a_private_address(owned, site, watched):
    page, new = owned()
    page.click("#links-panel [aria-label='Revoke reader link']")
    page.wait_for_selector("#links-panel .caution:has-text('No reader can open this trial now')", timeout=60_000)
    assert new.trial_id not in page.url
    chart_drawn(page)
    filled(page, "new-reader", label="again")
    page.wait_for_selector("#links-panel [aria-label='Copy again']")


def test_an_owner_link_is_told_once_and_the_last_one_asks_twice(owned):
    page, _ = owned()
    assert rows(page, "Who may change it") == 1
    page.click("#links-panel form:has(input[value=revoke-owner]) button")  # the box is not ticked: the browser asks for it
    assert page.evaluate("document.querySelector('#links-panel [name=meant]').validity.valueMissing")
    filled(page, "new-owner", label="laptop")
    told = page.wait_for_selector("#links-panel .notice.caution .owner-path").text_content()
    assert "/own/" in told
    assert page.locator("#links-panel [name=meant]").count() == 0
    filled(page, "new-reader")
    eventually(page, "document.querySelector('#links-panel').textContent.includes('/own/')", False)


def test_a_deleted_trial_is_gone_for_everybody(owned, open_page, watched):
    page, new = owned()
    filled(page, "delete", confirm="no")
    page.wait_for_selector("#links-panel [role=alert]:has-text('type the word')")
    filled(page, "delete", confirm="delete")
    page.wait_for_selector("h1:has-text('This trial is deleted')")
    watched.expected = ("404",)
    for path in (trial_path(new.trial_id), owner_path(new.trial_id, new.owner_key)):
        assert page.evaluate(STATUS, path) == 404
    assert open_page("/").evaluate(STATUS, trial_path(new.trial_id)) == 404


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_a_phone_the_panel_fits_and_works_by_keyboard(owned, scheme):
    page, _ = owned(viewport=PHONE, color_scheme=scheme)
    filled(page, "new-reader", label="a long name for the club of riders behind the weir")
    page.wait_for_selector("#links-panel [aria-label^='Copy a long name']")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.focus("#links-confirm")
    page.keyboard.type("delete")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Delete this trial"
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('This trial is deleted')")


def test_where_the_clipboard_is_denied_the_address_is_marked_to_be_copied_by_hand(owned):
    page, _ = owned()
    page.evaluate("() => { navigator.clipboard.writeText = () => Promise.reject(new Error('denied')); }")
    filled(page, "new-owner", label="laptop")
    page.click("#links-panel .notice.caution [data-copy]")
    page.wait_for_selector("#links-panel .notice.caution [data-copy]:has-text('Marked: copy it by hand')")
    told = page.inner_text("#links-panel .notice.caution .owner-path")
    assert "/own/" in told
    assert page.evaluate("window.getSelection().toString()") == told
    page.click("[data-copy=address]")  # what stands in the address bar can be copied from there
    page.wait_for_selector("[data-copy=address]:has-text('Copy it from the address bar')")
