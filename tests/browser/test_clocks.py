"""Clocks on the page: looked at, nudged by hand, kept, put back; and one that nothing settles. Referee: a browser."""

from __future__ import annotations

import random
import re

import pytest
from driving import PHONE, chart_drawn, eventually

from app.services import create_trial

LINE = """(() => { const gd = document.querySelector('#overlay .js-plotly-plot');
  const t = gd._fullData.find(t => t.meta && t.meta.label === 'pedals' && t.meta.kind === 'power');
  const g = gd.querySelector('.scatterlayer .trace' + t.uid);
  return {left: g.querySelector('path').getBoundingClientRect().left, moved: (gd.layout.meta.moved || {}).pedals || 0,
          first: t.x ? t.x[0] : t.x0, shifted: g.style.transform}; })()"""
ROW = "[data-clock='pedals']"
STATE = "((document.querySelector('.clock-table tbody tr:nth-child(3) .clock-state') || {}).textContent || '').slice(1)"


@pytest.fixture
def own_trial(site, open_page):
    """A trial of the built-in recordings that the test may change: its reader's path, and its page opened as owner."""
    stored = site.services.store.trial(site.demo.split("/")[-1])
    new = site.services.store.create_trial(stored.recordings, stored.setup)
    page = open_page(f"/own/{new.trial_id}/{new.owner_key}")
    chart_drawn(page)
    return f"/trial/{new.trial_id}", page


def periodic(seed: int) -> bytes:
    """Intervals of equal length, again and again: every minute fits as well as any other."""
    rng = random.Random(seed)
    rows = [f"{1_768_673_100 + t},{180 + 120 * (t % 60 < 30) + rng.gauss(0, 4):.0f}" for t in range(2400)]
    return "\n".join(["time,power", *rows]).encode()


def flat(seed: int) -> bytes:
    """Held power with each device's own noise: nothing to match."""
    rng = random.Random(seed)
    return "\n".join(["time,power", *(f"{1_768_673_100 + t},{200 + rng.gauss(0, 4):.0f}" for t in range(1800))]).encode()


@pytest.fixture(params=[periodic, flat], ids=["periodic", "flat"])
def unsettled(request, site):
    files = [site.upload(request.param(seed), f"{name}.csv") for seed, name in ((11, "first"), (12, "second"))]
    return create_trial(site.services, files, {})


def article(page) -> str:
    return page.inner_text(".clock-device:has(h3:has-text('pedals'))")


def test_a_nudge_moves_the_line_at_once_and_the_server_follows(own_trial):
    _, page = own_trial
    page.click("#clock-hands summary")
    page.click(f"{ROW} [data-clock-look]")
    eventually(page, "document.querySelector('#overlay .js-plotly-plot').layout.meta.step_s", 1)
    before = page.evaluate(LINE)
    at_once = page.evaluate(f"(() => {{ document.querySelector(\"{ROW} [data-clock-step='1']\").click(); return {LINE}; }})()")
    assert at_once["moved"] == 0  # nothing has come from the server yet
    per_second = page.evaluate("document.querySelector('#scrub-layer').getBoundingClientRect().width") / 80
    assert at_once["left"] - before["left"] == pytest.approx(per_second, rel=0.05)
    eventually(page, f"{LINE}.moved !== 0")
    after = page.evaluate(LINE)
    assert after["moved"] == pytest.approx(1.0, abs=0.006)  # what is kept is rounded to hundredths
    assert after["shifted"] == ""
    assert "Provisional, not kept: pedals at −6.63" in page.inner_text("#hands-said")
    badge = "getComputedStyle(document.querySelector('.chart-box'), '::before').content"
    assert "Provisional: pedals" in page.evaluate(badge)

    page.click(f"{ROW} [data-clock-step='-0.1']")
    eventually(page, f"Math.abs({LINE}.moved - 0.9) < 0.006")
    page.click("#hands-drop")
    eventually(page, f"{LINE}.moved", 0)
    assert "Provisional" not in page.evaluate(badge)
    assert page.input_value(f"{ROW} input") == "−7.63"
    assert page.is_disabled("#hands-keep")


def test_a_kept_shift_is_by_hand_for_everybody_until_it_is_put_back(own_trial, open_page):
    path, page = own_trial
    automatic = article(page)
    assert re.search(r"−7\.63 ± 0\.0\d\s*s ●", automatic)
    page.click("#clock-hands summary")
    for step in ("1", "0.1", "0.1"):
        page.click(f"{ROW} [data-clock-step='{step}']")
    page.click("#hands-keep")
    eventually(page, STATE, "set by hand", timeout_ms=20_000)
    chart_drawn(page)
    assert re.search(r"−6\.43\s*s ✎", article(page))
    assert "Provisional" not in page.evaluate("getComputedStyle(document.querySelector('.chart-box'), '::before').content")
    assert page.evaluate("document.querySelector('#clock-hands').open")

    reader = open_page(path)
    chart_drawn(reader)
    assert "set by hand" in reader.inner_text(".clock-request")
    assert re.search(r"−6\.43\s*s ✎\s*set by hand", article(reader))
    assert "The signals say −7.63" in article(reader)  # what they found stays told
    assert reader.locator("#clock-hands, [data-clock-step], [data-clock-use], #hands-keep").count() == 0

    page.click(f"{ROW} [data-clock-automatic]")
    eventually(page, STATE, "settled", timeout_ms=20_000)
    chart_drawn(page)
    assert article(page) == automatic
    assert page.locator(".clock-request").count() == 0


def test_a_kept_shift_changes_the_page_in_place(own_trial):
    _, page = own_trial
    page.evaluate("""() => { window.gone = 0; new MutationObserver(() => {
        if (!document.querySelector('h1#headline') || !document.getElementById('clock-hands')) window.gone += 1;
      }).observe(document.documentElement, { childList: true, subtree: true }); }""")
    page.evaluate("countercheck.overlay.choose(1200, 1500, true)")
    page.click("#clock-hands summary")
    page.click(f"{ROW} [data-clock-step='1']")
    eventually(page, f"{LINE}.moved !== 0")
    before = page.locator(f"{ROW} input").bounding_box()["y"]
    page.click("#hands-keep")
    eventually(page, STATE, "set by hand", timeout_ms=20_000)
    eventually(page, f"{LINE}.moved", 0)
    assert page.evaluate("window.gone") == 0
    assert page.locator(f"{ROW} input").bounding_box()["y"] == pytest.approx(before, abs=150)  # a sentence above tells of it now
    assert page.evaluate("document.getElementById('clock-hands').open")
    assert page.evaluate("document.activeElement.closest('#clock-hands') !== null")
    assert page.inner_text("#hands-said") == "Nothing is moved."
    eventually(page, "document.querySelector('#interval-card [data-window]').dataset.window", "1200.000 1500.000")
    # somebody else changed the trial meanwhile: said where it was pressed, and nothing is lost
    page.evaluate("document.querySelector('#owner-panel [name=seen]').value = '0'")
    page.click(f"{ROW} [data-clock-step='1']")
    page.click("#hands-keep")
    page.wait_for_selector("#hands-problem .problem")
    assert "Provisional, not kept: pedals at −5.63" in page.inner_text("#hands-said")


def test_a_clock_is_set_by_keyboard_alone(own_trial):
    _, page = own_trial
    page.focus("#clock-hands summary")
    page.keyboard.press("Enter")
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate(f'document.activeElement.closest("{ROW}") !== null && document.activeElement.tagName') == "INPUT":
            break
    page.keyboard.press("Control+a")
    page.keyboard.type("soon")
    assert "must be a number of seconds" in page.inner_text("#hands-said")
    assert page.get_attribute(f"{ROW} input", "aria-invalid") == "true"
    assert page.is_disabled("#hands-keep")
    page.keyboard.press("Control+a")
    page.keyboard.type("-8,5")
    eventually(page, f"Math.abs({LINE}.moved + 0.87) < 0.006")
    page.keyboard.press("ArrowUp")
    assert page.input_value(f"{ROW} input") == "−8.40"
    page.keyboard.press("Enter")
    eventually(page, STATE, "set by hand", timeout_ms=20_000)
    assert re.search(r"−8\.40\s*s", article(page))


def test_an_unsettled_clock_asks_its_owner_and_warns_its_readers(unsettled, open_page):
    page = open_page(f"/own/{unsettled.trial_id}/{unsettled.owner_key}")
    chart_drawn(page)
    request = page.locator(".clock-request")
    assert "A clock is not settled" in request.inner_text()
    assert "Please look" in request.inner_text()
    assert request.bounding_box()["y"] < 1000  # on the first screen of a desk
    assert page.evaluate("document.querySelector('#clock-hands').open")
    uses = request.locator("[data-clock-use]")
    uses.last.click()
    tried = float(uses.last.get_attribute("data-value"))
    assert float(page.input_value("[data-clock] input").replace("−", "-")) == pytest.approx(tried, abs=0.006)
    assert page.is_enabled("#hands-keep")

    reader = open_page(f"/trial/{unsettled.trial_id}")
    chart_drawn(reader)
    told = reader.inner_text(".clock-request")
    assert "A clock is not settled" in told
    assert "a try and not a finding" in told
    assert reader.locator("[data-clock-use]").count() == 0
    section = reader.inner_text("#alignment")
    assert "only tried" in section
    assert not re.search(r"± ?\d", section)
    assert reader.locator("#alignment strong", has_text=re.compile(r"\d")).count() == 0

    page.click("#hands-keep")
    state = "(document.querySelector('.clock-state.set-by-hand') || {}).textContent"
    eventually(page, f"{state} !== undefined", timeout_ms=20_000)
    assert "A clock is not settled" not in page.inner_text("main")


def test_pictures_are_drawn_when_they_are_scrolled_to_and_follow_the_theme(open_trial):
    page = open_trial()
    drawn = "document.querySelectorAll('[data-clock-picture] .main-svg').length > 0"
    assert not page.evaluate(drawn)
    pictures = page.locator("[data-clock-picture]")
    assert pictures.count() == 4
    for i in range(4):
        pictures.nth(i).scroll_into_view_if_needed()
        eventually(
            page, f"document.querySelectorAll('[data-clock-picture]')[{i}].querySelectorAll('.scatterlayer .trace').length > 3"
        )
    ink = "[...document.querySelectorAll('[data-clock-picture] .js-plotly-plot')].map(g => g.layout.font.color).join()"
    before = page.evaluate(ink)
    page.click("#theme-switch")
    eventually(page, f"{ink}.split(',').every((c, i) => c !== '{before}'.split(',')[i])")
    label = pictures.first.get_attribute("aria-label")
    assert "heart rate peaks at" in label


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_a_phone_nothing_of_the_clocks_goes_sideways(unsettled, open_page, scheme):
    keys = f"/own/{unsettled.trial_id}/{unsettled.owner_key}"
    page = open_page(keys, viewport=PHONE, color_scheme=scheme, has_touch=True, is_mobile=True)
    chart_drawn(page)
    page.locator("[data-clock-step='1']").first.click()
    page.locator("#alignment").scroll_into_view_if_needed()
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    wide = page.evaluate(
        """[...document.querySelectorAll('.clock-request *, #clock-hands *, #alignment *')].filter(e =>
             e.getBoundingClientRect().right > innerWidth + 1 && !e.closest('.table-box, .js-plotly-plot'))
           .map(e => e.outerHTML.slice(0, 80))"""
    )
    assert wide == []
    small = page.evaluate(
        """[...document.querySelectorAll('#clock-hands button, .clock-request button')].map(e => e.getBoundingClientRect())
           .filter(b => b.height < 24 || b.width < 24).length"""
    )
    assert small == 0  # WCAG 2.2, 2.5.8
