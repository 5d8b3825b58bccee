"""The trial page as readers use it. Referees: the result's JSON for every figure, the browser for everything else."""

from __future__ import annotations

import re
from itertools import pairwise
from urllib.parse import parse_qs, urlsplit

import pytest
from driving import DESK, PHONE, chart_drawn, eventually

from analysis.setup import setup_from_dict
from app.services import create_trial

CARD = "#interval-card [data-window]"
ROW = "tr[data-block]"


def report_of(site) -> dict:
    return site.services.jobs.ask(site.demo.split("/")[-1]).open_trial.report


def shown(value: float | None, digits: int = 1) -> str:
    """A signed figure as a person would print it, made here without the page's own wording."""
    if value is None:
        return "–"
    text = f"{value:+.{digits}f}"
    return f"{0:.{digits}f}" if float(text) == 0 else text.replace("-", "−")


def wait_card(page, window: str) -> None:
    eventually(page, f"document.querySelector('{CARD}').dataset.window", window)


def test_the_table_prints_the_json_to_the_digit(open_trial, site):
    page, report = open_trial(), report_of(site)
    devices = [r["label"] for r in report["recordings"] if r["label"] != report["reference"]]
    deltas = {(d["block"], d["label"]): d for d in report["deltas"]}
    rows = page.evaluate(
        f"[...document.querySelectorAll('{ROW}')].map(r => [r.dataset.block, ...[...r.cells].map(c => c.innerText.trim())])"
    )
    assert [row[0] for row in rows] == [b["id"] for b in report["blocks"]]
    for block_id, *cells in rows:
        for i, label in enumerate(devices):
            entry = deltas.get((block_id, label))
            delta_w, delta_pct, limits, verdict = cells[4 + 4 * i : 8 + 4 * i]
            assert delta_w == shown(entry and entry["delta_w"])
            assert delta_pct == shown(entry and entry["delta_pct"])
            if entry and (entry["reason"] or "").startswith("The stretch is too short"):
                assert limits == "– too short"
            elif entry and entry["delta_pct_ci"]:
                assert limits == " to ".join(map(shown, entry["delta_pct_ci"]))
            if entry:
                assert verdict.endswith(entry["verdict"])


def test_a_row_selects_its_block_and_card_and_table_agree(open_trial, site):
    page, report = open_trial(), report_of(site)
    block = next(b for b in report["blocks"] if b["kind"] == "steady" and b["end_s"] - b["start_s"] > 150)
    row = page.locator(f"tr[data-block='{block['id']}']")
    row.click()
    wait_card(page, f"{block['interior_start_s']:.3f} {block['interior_end_s']:.3f}")
    assert row.get_attribute("aria-selected") == "true"
    assert page.locator(f"{ROW}[aria-selected='true']").count() == 1
    card = page.inner_text("#interval-card")
    for entry in (d for d in report["deltas"] if d["block"] == block["id"]):
        assert shown(entry["delta_pct"]) in card
        assert " to ".join(map(shown, entry["delta_pct_ci"])) in card
    assert f"from={block['interior_start_s']}" in page.url

    other = page.locator(f"{ROW} >> nth=12")
    other.focus()
    page.keyboard.press("Enter")
    eventually(page, f"document.querySelectorAll('{ROW}')[12].getAttribute('aria-selected')", "true")


def test_a_click_on_the_block_strip_selects_that_block(open_trial, site):
    page, report = open_trial(), report_of(site)
    block = max((b for b in report["blocks"] if b["kind"] == "steady"), key=lambda b: b["end_s"] - b["start_s"])
    page.locator("#scrub-layer").scroll_into_view_if_needed()
    box = page.locator("#scrub-layer").bounding_box()
    trial = site.services.jobs.ask(site.demo.split("/")[-1]).open_trial.trial
    middle = ((block["start_s"] + block["end_s"]) / 2 - trial.start_s) / (trial.end_s - trial.start_s)
    page.mouse.click(box["x"] + middle * box["width"], box["y"] + box["height"] - 10)
    wait_card(page, f"{block['interior_start_s']:.3f} {block['interior_end_s']:.3f}")


def test_edges_by_keyboard(open_trial):
    page = open_trial("?from=1200&to=1500")
    start, end = page.get_by_role("slider", name="Interval from"), page.get_by_role("slider", name="Interval to")
    assert (start.get_attribute("aria-valuetext"), end.get_attribute("aria-valuetext")) == ("20:00", "25:00")
    start.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowRight")
    end.focus()
    page.keyboard.press("ArrowLeft")
    wait_card(page, "1211.000 1499.000")
    assert start.get_attribute("aria-valuenow") == "1211"
    eventually(page, "new URLSearchParams(location.search).get('from')", "1211.0")
    page.keyboard.press("Escape")
    eventually(page, "location.search", "")
    eventually(page, "document.querySelector('#interval-card').innerText.startsWith('Whole trial')")


def test_an_edge_can_be_dragged(open_trial):
    page = open_trial("?from=1200&to=1500")
    handle = page.get_by_role("slider", name="Interval to")
    handle.scroll_into_view_if_needed()
    box, layer = handle.bounding_box(), page.locator("#scrub-layer").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + 100
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 0.1 * layer["width"], y, steps=5)
    page.mouse.up()
    eventually(page, "new URLSearchParams(location.search).get('from')", "1200.0")
    moved = float(re.search(r"to=([\d.]+)", page.url)[1])
    assert 1800 < moved < 2000


def test_scrubbing_does_not_pile_up_history(open_trial):
    page = open_trial()
    before = page.evaluate("history.length")
    for i in range(5):
        page.locator(f"{ROW} >> nth={i + 6}").click()
        eventually(page, f"document.querySelectorAll('{ROW}')[{i + 6}].getAttribute('aria-selected')", "true")
    assert page.evaluate("history.length") == before


@pytest.mark.parametrize("query", ["?from=nonsense&to=5", "?from=900&to=100", "?from=-1e9&to=1e9", "?from=1e7&to=2e7", "?x=1"])
def test_an_address_without_sense_shows_the_whole_trial(open_trial, query):
    assert "Whole trial" in open_trial(query).inner_text("#interval-card")


def test_zoom_shows_every_sample_and_survives_the_theme_switch(open_trial):
    page = open_trial("?from=1200&to=1500")
    view = "JSON.stringify(document.querySelector('#overlay .js-plotly-plot').layout.meta.view)"
    page.click("#zoom-interval")
    eventually(page, view, "[1200,1500]")
    assert page.evaluate("document.querySelector('#overlay .js-plotly-plot').layout.meta.step_s") == 1
    ink = "document.querySelector('#overlay .js-plotly-plot').layout.font.color"
    before = page.evaluate(ink)
    page.click("#theme-switch")
    eventually(page, f"{ink} !== '{before}'")
    assert page.evaluate(view) == "[1200,1500]"
    page.click("#view-later")
    eventually(page, view, "[1350,1650]")
    page.click("#zoom-whole")
    eventually(page, "document.querySelector('#overlay .js-plotly-plot').layout.meta.view[0]", 0)


def test_the_values_under_the_cursor_are_those_of_the_trial(open_trial, site):
    page = open_trial("?from=1200&to=1500")
    page.click("#zoom-interval")
    eventually(page, "document.querySelector('#overlay .js-plotly-plot').layout.meta.step_s", 1)
    page.locator("#scrub-layer").scroll_into_view_if_needed()
    box = page.locator("#scrub-layer").bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 60)
    eventually(page, "document.querySelector('#readout-clock').textContent", "at 22:30")
    trial = site.services.jobs.ask(site.demo.split("/")[-1]).open_trial.trial
    hub = trial.recording(trial.reference)
    value = hub.channels["power_w"][abs(hub.time_s - 1350.0).argmin()]
    assert page.inner_text(f"[data-readout='{trial.reference}']") == f"{value:.0f}\u202fW"


@pytest.mark.parametrize("width", [375, 768, 1024, 1440])
@pytest.mark.parametrize("path", ["/", "demo"])
def test_nothing_pushes_the_page_sideways(open_page, site, path, width):
    page = open_page(site.demo if path == "demo" else path, viewport={"width": width, "height": 900})
    page.wait_for_selector("h1")
    if path == "demo":
        chart_drawn(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    wide = page.evaluate(
        """[...document.querySelectorAll('main *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1
           && !e.closest('.table-box, .chart-box, .hidden-text') && getComputedStyle(e).position !== 'absolute')
           .map(e => e.outerHTML.slice(0, 80))"""
    )
    assert wide == []


def test_on_a_phone_every_row_shows_each_device_with_its_verdict(open_trial, site):
    page = open_trial(viewport=PHONE, has_touch=True, is_mobile=True)
    boxes = page.evaluate(
        f"""[...document.querySelectorAll('{ROW} .delta-verdict, {ROW} .delta-pct')].map(
            e => [e.getBoundingClientRect().left, e.getBoundingClientRect().right])"""
    )
    assert boxes
    assert all(0 <= left < right <= PHONE["width"] for left, right in boxes)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_system_scheme_is_followed_and_the_switch_is_remembered(open_trial, scheme):
    page = open_trial(color_scheme=scheme)
    paper = "getComputedStyle(document.body).backgroundColor"
    first = page.evaluate(paper)
    assert (sum(map(int, re.findall(r"\d+", first)[:3])) > 384) == (scheme == "light")
    page.click("#theme-switch")
    eventually(page, f"{paper} !== '{first}'")
    page.reload()
    chart_drawn(page)
    assert page.evaluate(paper) != first


def test_reading_order_and_landmarks(open_trial):
    page = open_trial()
    assert page.evaluate("document.documentElement.lang") == "en"
    assert page.locator("main h1").count() == 1
    assert page.locator("main").count() == 1
    levels = page.evaluate("[...document.querySelectorAll('main h1, main h2, main h3')].map(h => Number(h.tagName[1]))")
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to content"
    assert page.evaluate("new Set([...document.querySelectorAll('[id]')].map(e => e.id)).size") == page.locator("[id]").count()


def test_every_control_has_a_name_and_every_focus_is_seen(open_trial):
    page = open_trial()
    nameless = page.evaluate(
        """[...document.querySelectorAll('button, a[href], input, select, [role=slider], [tabindex="0"]')].filter(
             e => !(e.innerText || e.getAttribute('aria-label') || e.title || (e.labels && e.labels.length)).toString().trim())
           .map(e => e.outerHTML.slice(0, 100))"""
    )
    assert nameless == []
    for _ in range(12):
        page.keyboard.press("Tab")
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline != "none", page.evaluate("document.activeElement.outerHTML.slice(0, 120)")


def test_a_label_cannot_bring_markup_onto_the_page(open_page, site):
    """Referee: the browser's own parser; nothing of the label may become an element."""
    store = site.services.store
    stored = store.trial(site.demo.split("/")[-1])
    tree = stored.setup.to_dict()
    tree["trial"]["title"] = "<img src=x onerror=alert(1)>"
    evil = '"><script>window.caught = 1</script><b>hub</b>'
    tree["device"][0]["label"] = tree["trial"]["reference"] = evil
    new = store.create_trial(stored.recordings, setup_from_dict(tree))
    page = open_page(f"/trial/{new.trial_id}", viewport=DESK)
    chart_drawn(page)
    assert page.evaluate("window.caught") is None
    assert page.locator("main img, main script, main b").count() == 0
    assert evil in page.inner_text(".legend")


def test_findings_come_with_their_picture(open_trial):
    page = open_trial()
    page.locator("#findings").scroll_into_view_if_needed()
    count = "document.querySelectorAll('#held-against .scatterlayer .trace').length"
    eventually(page, count, 6)  # two devices by time, power and cadence
    assert page.locator(".finding").count() >= 2


def test_an_unknown_address_says_so(open_page, watched):
    watched.expected = ("status of 404",)
    page = open_page("/trial/" + "x" * 32)
    page.wait_for_selector("[role=alert]")
    assert "no trial at this address" in page.inner_text("main").lower()


def test_the_built_in_trial_is_one_click_away(open_page):
    page = open_page("/")
    page.get_by_role("link", name="See it on a built-in trial").click()
    chart_drawn(page)
    assert page.get_by_text("Edit set-up").count() == 0


def test_a_slow_line_does_not_keep_the_page_waiting(open_page, site, watched):
    """Dash drops answers that a later question has overtaken; a slow line must not keep the page waiting for ever."""
    power = "\n".join(f"{1_768_673_100 + t},{150 + 100 * (t // 120 % 2) + t % 5},90" for t in range(2400))
    files = [site.upload(f"time,power,cadence\n{power}\n{1_768_680_000 + i},0,0".encode(), f"{i}.csv") for i in range(2)]
    new = create_trial(site.services, files, {})

    def slowly(route):
        route.request.frame.page.wait_for_timeout(700)
        route.continue_()

    watched.expected = ("status of 404",)
    page = open_page("/nothing-here", viewport=DESK)
    page.route("**/_dash-update-component*", slowly)
    page.goto(f"{site.address}/trial/{new.trial_id}")
    page.wait_for_selector("h1#headline", timeout=30_000)
    page.unroute_all(behavior="wait")  # what is under way must not end in the next test


def test_a_place_in_a_recordings_health_selects_the_minute_around_it(open_page, site):
    page = open_page(site.demo)
    chart_drawn(page)
    page.locator("#recordings").scroll_into_view_if_needed()
    place = page.locator(".health .place", has_text="55:05")
    place.click()
    eventually(page, "new URLSearchParams(location.search).has('from')")
    query = parse_qs(urlsplit(page.url).query)
    edges = [float(query[key][0]) for key in ("from", "to")]
    assert edges[1] - edges[0] == pytest.approx(60, abs=0.2)
    assert sum(edges) / 2 == pytest.approx(55 * 60 + 5, abs=1.5)
