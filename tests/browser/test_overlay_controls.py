"""Every control of the overlay by real mouse and keyboard. Referees: the drawn figure, the address, the trial's own samples."""

from __future__ import annotations

import json
from urllib.parse import parse_qs, urlsplit

import pytest
from driving import DESK, PHONE, chart_drawn, eventually

GD = "document.querySelector('#overlay .js-plotly-plot')"
META = f"{GD}.layout.meta"
NAMES = f"{GD}.layout.annotations.map(a => a.text).join(' | ')"
VIEW = f"JSON.stringify({META}.view)"
LABELS = f"[...new Set({GD}.data.filter(t => t.meta && t.meta.kind === 'difference').map(t => t.meta.label))].join()"


def trial_of(site):
    return site.services.jobs.ask(site.demo.split("/")[-1]).open_trial.trial


def layer(page) -> dict:
    page.locator("#scrub-layer").scroll_into_view_if_needed()
    return page.locator("#scrub-layer").bounding_box()


def said(page, key: str) -> str | None:
    return parse_qs(urlsplit(page.evaluate("location.href")).query).get(key, [None])[0]


def chosen(page, key: str, value: str | None) -> None:
    eventually(page, f"new URLSearchParams(location.search).get('{key}')", value)


def test_watts_and_percent(open_trial):
    page = open_trial()
    page.get_by_role("button", name="W", exact=True).click()
    eventually(page, f"{NAMES}.includes('minus hub [W]')")
    chosen(page, "unit", "w")
    page.get_by_role("button", name="%", exact=True).focus()
    page.keyboard.press("Enter")
    eventually(page, f"{NAMES}.includes('minus hub [%]')")
    chosen(page, "unit", None)


def test_one_device_and_another_to_hold_it_against(open_trial):
    page = open_trial()
    page.get_by_label("Held against").select_option("spider")
    eventually(page, LABELS, "hub,pedals")
    chosen(page, "against", "spider")
    assert page.inner_text("h1#headline"), "headline and findings stay with the trial's own reference"
    page.get_by_label("Device shown").select_option("pedals")
    eventually(page, LABELS, "pedals")
    eventually(page, "[...document.querySelectorAll('.legend li')].filter(li => !li.hidden).length", 2)
    assert page.locator("select[data-show='device'] option[value='spider']").is_disabled()
    page.get_by_label("Held against").select_option("pedals")
    eventually(page, LABELS, "hub,spider")
    assert page.get_by_label("Device shown").input_value() == "", "nothing is held against itself"


def test_smoothing_by_keyboard(open_trial):
    page = open_trial()
    page.get_by_label("Smoothing, for display only").focus()
    page.keyboard.press("3")
    eventually(page, f"{META}.mean_s", 3)
    eventually(page, f"{NAMES}.includes('moving mean of 3 s')")
    chosen(page, "mean", "3")
    assert "for display only" in page.inner_text("figure.overlay figcaption")


def test_rows_come_and_go_and_the_chart_grows_with_them(open_trial, site):
    page = open_trial()
    height = "document.querySelector('#chart-box').clientHeight"
    before = page.evaluate(height)
    page.get_by_role("button", name="heart rate").click()
    page.get_by_role("button", name="cadence").click()
    eventually(page, f"{NAMES}.includes('cadence [rpm] | heart rate [1/min]')")
    chosen(page, "rows", "cadence,heart_rate")
    assert page.evaluate(height) > before + 100
    eventually(page, f"{GD}.clientHeight === {height}")
    page.get_by_role("button", name="cadence").click()
    chosen(page, "rows", "heart_rate")


def test_the_cursor_reads_every_row_at_that_second(open_trial, site):
    page = open_trial("?view=1200,1500&rows=cadence,heart_rate&unit=w&mean=1")
    eventually(page, f"{META}.step_s", 1)
    box = layer(page)
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 60)
    eventually(page, "document.querySelector('#readout-clock').textContent", "at 22:30")
    trial = trial_of(site)
    spider = trial.recording("spider")
    i = abs(spider.time_s - 1350.0).argmin()
    held = trial.per_second("hub")[int(1350 - trial.start_s)]
    told = page.inner_text("[data-readout='spider']").replace("\u202f", " ")
    power, difference, cadence, heart = told.split(", ")
    assert power == f"{spider.channels['power_w'][i]:.0f} W"
    assert cadence == f"{spider.channels['cadence_rpm'][i]:.0f} rpm"
    assert heart == f"{spider.channels['heart_rate_bpm'][i]:.0f} 1/min"
    seconds = [trial.per_second("spider")[int(1350 - trial.start_s) + k] - trial.per_second("hub")[int(1350 - trial.start_s) + k]
               for k in (-1, 0)]  # fmt: skip
    assert held > 0 and float(difference.removesuffix(" W").replace("−", "-")) == pytest.approx(min(seconds, key=lambda s: abs(
        s - float(difference.removesuffix(" W").replace("−", "-")))), abs=0.06)  # fmt: skip


def test_clock_time_is_utc_and_local_time_is_told_where_it_differs(open_trial, site):
    page = open_trial("?axis=clock", timezone_id="Asia/Kolkata")
    start = trial_of(site).start_utc
    eventually(page, f"{META}.axis", "clock")
    box = layer(page)
    page.mouse.move(box["x"] + 1, box["y"] + 60)
    eventually(page, "document.querySelector('#readout-clock').textContent.includes('your time')")
    told = page.inner_text("#readout-clock")
    hour, minute = int(start[11:13]), int(start[14:16])
    assert f"at {hour:02d}:{minute:02d}:" in told and "UTC" in told
    assert f", {(hour + 5 + (minute + 30) // 60) % 24:02d}:{(minute + 30) % 60:02d}:" in told
    page.get_by_role("button", name="elapsed").click()
    eventually(page, f"{META}.axis", "elapsed")


def test_zoom_buttons_and_keys(open_trial):
    page = open_trial("?view=1200,2000")
    page.get_by_role("button", name="Zoom in").click()
    eventually(page, VIEW, "[1400,1800]")
    page.locator("#chart-box").focus()
    page.keyboard.press("+")
    eventually(page, VIEW, "[1500,1700]")
    page.keyboard.press("ArrowRight")
    eventually(page, VIEW, "[1520,1720]")
    page.keyboard.press("-")
    eventually(page, VIEW, "[1420,1820]")
    chosen(page, "view", "1420.0,1820.0")
    page.keyboard.press("0")
    eventually(page, f"{META}.view[0]", 0)
    chosen(page, "view", None)


def test_keys_do_nothing_where_somebody_types_or_reads_elsewhere(open_trial):
    page = open_trial("?view=1200,2000")
    page.locator("h1#headline").click()
    page.keyboard.press("+")
    page.get_by_label("Device shown").focus()
    page.keyboard.press("]")
    page.wait_for_timeout(600)
    assert page.evaluate(VIEW) == "[1200,2000]"
    assert said(page, "from") is None


def test_the_wheel_zooms_about_the_cursor_with_ctrl_and_scrolls_without(open_trial):
    page = open_trial("?view=1200,2000")
    box = layer(page)
    page.mouse.move(box["x"] + box["width"] * 0.25, box["y"] + 100)
    page.keyboard.down("Control")
    page.mouse.wheel(0, -300)
    page.keyboard.up("Control")
    eventually(page, f"({META}.view[1] - {META}.view[0]) < 560")
    low, high = json.loads(page.evaluate(VIEW))
    assert low + 0.25 * (high - low) == pytest.approx(1400, abs=3)
    scrolled = page.evaluate("scrollY")
    page.mouse.wheel(0, 200)
    eventually(page, f"scrollY > {scrolled}")
    assert json.loads(page.evaluate(VIEW)) == [low, high]


def test_shift_and_drag_pans_without_selecting(open_trial):
    page = open_trial("?view=1200,2000")
    box = layer(page)
    page.mouse.move(box["x"] + box["width"] * 0.75, box["y"] + 100)
    page.keyboard.down("Shift")
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 100, steps=6)
    page.mouse.up()
    page.keyboard.up("Shift")
    eventually(page, f"Math.abs({META}.view[0] - 1400) < 3")
    eventually(page, "Math.abs(new URLSearchParams(location.search).get('view').split(',')[0] - 1400) < 3")
    assert said(page, "from") is None
    moved = f"[...{GD}.querySelectorAll('.scatterlayer')].map(p => p.style.transform).join('')"
    eventually(page, moved, "")


def test_next_and_previous_block_by_button_and_key(open_trial, site):
    page = open_trial()
    blocks = site.services.jobs.ask(site.demo.split("/")[-1]).open_trial.report["blocks"]
    window = "document.querySelector('#interval-card [data-window]').dataset.window"

    def stretch(block):
        return f"{block['interior_start_s']:.3f} {block['interior_end_s']:.3f}"

    page.get_by_role("button", name="Select the next block").click()
    eventually(page, window, stretch(blocks[0]))
    page.locator("#chart-box").focus()
    page.keyboard.press("]")
    page.keyboard.press("]")
    eventually(page, window, stretch(blocks[2]))
    page.keyboard.press("[")
    eventually(page, window, stretch(blocks[1]))


def test_the_interval_grows_and_shrinks_at_both_edges(open_trial):
    page = open_trial("?from=1200&to=1500")
    page.get_by_role("button", name="Wider by a second").click()
    page.locator("#chart-box").focus()
    for key in (">", ">", "<"):
        page.keyboard.press(key)
    chosen(page, "from", "1198.0")
    chosen(page, "to", "1502.0")


def test_a_sprint_close_up_shows_every_sample(open_trial, site):
    page = open_trial("?mean=30")
    sprint = page.locator("[data-sprint] >> nth=3")
    sprint.click()
    eventually(page, f"{META}.step_s", 1)
    eventually(page, f"{META}.running_s", 1)
    low, high = json.loads(page.evaluate(VIEW))
    power = f"{GD}.data.find(t => t.meta && t.meta.kind === 'power' && t.meta.label === 'hub')"
    drawn = page.evaluate(f"Math.max(...{GD}._fullData.filter(t => t.meta && t.meta.kind === 'power')[2].y)")
    hub = trial_of(site).recording("hub")
    inside = (hub.time_s >= low - 1.5) & (hub.time_s <= high + 1.5)
    assert page.evaluate(f"Boolean({power})")
    assert drawn == pytest.approx(hub.channels["power_w"][inside].max())
    assert said(page, "from") is not None
    assert high - low < 90


def test_full_screen_and_back(open_trial):
    page = open_trial()
    height = page.evaluate("document.querySelector('#chart-box').clientHeight")
    page.locator("#full-screen").click()
    eventually(page, "Boolean(document.fullscreenElement)")
    eventually(page, f"document.querySelector('#chart-box').clientHeight >= {height}")
    assert page.locator("#full-screen").get_attribute("aria-pressed") == "true"
    eventually(page, f"{GD}.clientHeight === document.querySelector('#chart-box').clientHeight")
    page.locator("#full-screen").click()
    eventually(page, "document.fullscreenElement === null")


def test_a_browser_without_full_screen_fills_its_window(open_trial):
    page = open_trial()
    page.evaluate("() => { document.querySelector('figure.overlay').requestFullscreen = undefined; }")
    page.locator("#chart-box").focus()
    page.keyboard.press("f")
    box = page.locator("figure.overlay").bounding_box()
    assert (box["x"], box["y"], box["width"]) == (0, 0, DESK["width"])
    page.keyboard.press("Escape")
    eventually(page, "document.querySelector('figure.overlay').classList.contains('filling')", False)


def test_a_look_survives_the_theme_switch(open_trial):
    page = open_trial("?view=1200,1500&unit=w&mean=3&rows=cadence&against=spider")
    eventually(page, VIEW, "[1200,1500]")
    ink = f"{GD}.layout.font.color"
    before = page.evaluate(ink)
    page.click("#theme-switch")
    eventually(page, f"{ink} !== '{before}'")
    assert page.evaluate(VIEW) == "[1200,1500]"
    told = page.evaluate(NAMES)
    assert "moving mean of 3 s" in told and "minus spider [W]" in told and "cadence [rpm]" in told


def test_the_copied_address_shows_the_same_in_another_browser(open_page, open_trial):
    page = open_trial()
    page.get_by_role("button", name="W", exact=True).click()
    page.get_by_label("Held against").select_option("pedals")
    page.get_by_label("Smoothing, for display only").select_option("10")
    page.get_by_role("button", name="cadence").click()
    page.locator("tr[data-block] >> nth=8").click()
    page.locator("#zoom-interval").click()
    page.evaluate("countercheck.screen.section('alignment')")
    eventually(page, "location.hash", "#alignment")
    chosen(page, "view", said(page, "from") + "," + said(page, "to"))
    address = urlsplit(page.evaluate("location.href"))
    eventually(page, f"{META}.mean_s", 10)
    here = [page.evaluate(one) for one in (VIEW, NAMES, LABELS)]
    card = page.inner_text("#interval-card")

    other = open_page(f"{address.path}?{address.query}#{address.fragment}", color_scheme="dark")
    chart_drawn(other)
    assert [other.evaluate(one) for one in (VIEW, NAMES, LABELS)] == here
    assert other.inner_text("#interval-card") == card
    assert other.get_by_label("Held against").input_value() == "pedals"
    assert other.get_by_role("button", name="cadence").get_attribute("aria-pressed") == "true"
    eventually(other, "Math.abs(document.getElementById('alignment').getBoundingClientRect().top) < 200")
    assert other.evaluate("history.length") <= 2


def test_choosing_does_not_pile_up_history(open_trial):
    page = open_trial()
    before = page.evaluate("history.length")
    page.get_by_role("button", name="W", exact=True).click()
    page.get_by_role("button", name="cadence").click()
    page.get_by_role("button", name="Zoom in").click()
    chosen(page, "rows", "cadence")
    assert page.evaluate("history.length") == before


def test_on_a_phone_every_control_is_in_reach(open_trial):
    page = open_trial("?rows=cadence,heart_rate,temperature,balance&axis=clock", viewport=PHONE, has_touch=True, is_mobile=True)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    small = page.evaluate(
        """[...document.querySelectorAll('figure.overlay button, figure.overlay select')].map(e => e.getBoundingClientRect())
           .filter(b => b.height < 24 || b.width < 24).length"""
    )  # WCAG 2.2, 2.5.8
    assert small == 0
    overlapping = page.evaluate(f"""() => {{
        const words = [...{GD}.querySelectorAll('.xtick text')].filter(t => getComputedStyle(t).visibility !== 'hidden')
          .map(t => t.getBoundingClientRect()).sort((a, b) => a.left - b.left);
        return words.some((b, i) => i && b.left < words[i - 1].right + 2); }}""")
    assert not overlapping
