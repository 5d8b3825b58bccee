"""The address holds what is on the screen. Referee: `app.links`, and a second browser that opens the same address."""

from __future__ import annotations

from driving import chart_drawn, eventually

from app.links import parse, trial_path
from app.screen import Screen

STATE = "countercheck.screen.now()"


def test_what_scripts_choose_stands_in_the_address_as_links_write_it(open_trial, site):
    page = open_trial()
    before = page.evaluate("history.length")
    trial_id = parse(site.demo).trial_id
    choices = {"against": "pedals", "unit": "w", "mean_s": 3, "rows": ("cadence",), "axis": "clock"}
    screen = Screen(window=(600.0, 733.5), view=(550.0, 900.0), **choices)
    page.evaluate("given => countercheck.screen.set(given)", {"window": [600, 733.5], "view": [550, 900], **choices})
    eventually(page, "location.pathname + location.search", trial_path(trial_id, screen))
    assert page.evaluate("history.length") == before


def test_an_address_opened_elsewhere_shows_the_same(open_page, site):
    trial_id = parse(site.demo).trial_id
    choices = {"device": "spider", "against": "pedals", "unit": "w", "rows": ("cadence",)}
    screen = Screen(window=(1200.0, 1500.0), view=(1100.0, 1700.0), **choices)
    page = open_page(trial_path(trial_id, screen, section="alignment"))
    chart_drawn(page)
    found = page.evaluate(STATE)
    assert (found["window"], found["view"]) == ([1200, 1500], [1100, 1700])
    assert (found["device"], found["against"], found["unit"], found["rows"]) == ("spider", "pedals", "w", ["cadence"])
    eventually(page, "document.querySelector('#overlay .js-plotly-plot').layout.meta.view", [1100, 1700])
    eventually(page, "Math.abs(document.getElementById('alignment').getBoundingClientRect().top) < 200")
    eventually(page, "document.querySelector('#interval-card [data-window]').dataset.window", "1200.000 1500.000")


def test_a_dozen_choices_leave_one_address_and_the_history_as_it_was(open_trial):
    page = open_trial()
    before = page.evaluate("history.length")
    page.evaluate("""() => {
      window.writes = 0;
      const write = history.replaceState.bind(history);
      history.replaceState = (...all) => { window.writes += 1; return write(...all); };
      for (let i = 0; i < 12; i++) countercheck.screen.set({view: [600 + i, 900 + i]});
    }""")
    eventually(page, "new URLSearchParams(location.search).get('view')", "611.0,911.0")
    assert page.evaluate("window.writes") <= 2
    assert page.evaluate("history.length") == before


def test_the_section_being_read_stands_behind_the_hash(open_trial):
    page = open_trial()
    before = page.evaluate("history.length")
    page.evaluate("countercheck.screen.section('alignment')")
    eventually(page, "location.hash", "#alignment")
    eventually(page, "Math.abs(document.getElementById('alignment').getBoundingClientRect().top) < 200")
    page.mouse.move(600, 400)
    for _ in range(100):  # sections that arrive while they are scrolled past hold the reader's place
        if page.evaluate("scrollY") == 0:
            break
        page.mouse.wheel(0, -100_000)
        page.wait_for_timeout(50)
    eventually(page, "location.hash", "")
    assert page.evaluate("history.length") == before


def test_a_browser_that_refuses_further_addresses_costs_nothing_else(open_trial):
    page = open_trial()
    page.evaluate("() => { history.replaceState = () => { throw new DOMException('too often', 'SecurityError'); }; }")
    page.locator("tr[data-block] >> nth=4").click()
    eventually(page, "document.querySelectorAll('tr[data-block]')[4].getAttribute('aria-selected')", "true")
    eventually(page, "document.querySelector('#interval-card .overline').textContent", "Interval")


EVERYTHING = (
    "?from=1640.0&to=2150.0&view=1500.0,2300.0&device=pedals&against=spider&unit=w&axis=clock&mean=3"
    "&rows=cadence,heart_rate,temperature,balance"
)
SHOWN = """JSON.stringify({
  screen: countercheck.screen.now(), card: document.getElementById('interval-card').innerText,
  legend: [...document.querySelectorAll('.legend li')].filter(li => !li.hidden).map(li => li.innerText),
  chosen: [...document.querySelectorAll('select[data-show]')].map(s => s.value),
  pressed: [...document.querySelectorAll('button[data-show][aria-pressed=true]')].map(b => b.innerText),
  names: document.querySelector('#overlay .js-plotly-plot').layout.annotations.map(a => a.text),
  ticks: document.querySelector('#overlay .js-plotly-plot').layout.xaxis.ticktext,
  band: document.querySelector('.scrub-band').style.cssText,
  table: document.querySelector('#blocks .pair-notice').innerText,
})"""


def test_every_part_of_the_screen_at_once_by_hand_and_by_address(open_trial):
    """Chosen one by one in one browser, opened by its address in another: both show the same."""
    page = open_trial()
    page.get_by_label("Held against").select_option("spider")
    page.get_by_label("Device shown").select_option("pedals")
    page.get_by_role("button", name="W", exact=True).click()
    page.get_by_role("button", name="UTC").click()
    page.get_by_label("Smoothing, for display only").select_option("3")
    for row in ("temperature", "balance", "cadence", "heart rate"):
        page.get_by_role("button", name=row).click()
    page.evaluate("countercheck.overlay.choose(1640, 2150, true); countercheck.view.look([1500, 2300])")
    eventually(page, "location.search", EVERYTHING)
    there = open_trial(EVERYTHING, color_scheme="dark")
    for one in (page, there):
        one.mouse.move(5, 5)
        eventually(one, "document.querySelector('#overlay .js-plotly-plot').layout.meta.view", [1500, 2300])
        eventually(one, "document.querySelectorAll('#blocks .pair-notice').length", 1)
        eventually(one, "document.querySelector('#interval-card [data-window]').dataset.window", "1640.000 2150.000")
        eventually(one, "document.querySelectorAll('#interval-card .card-device').length", 1)
        eventually(one, "document.getElementById('chart-box').hasAttribute('data-drawing')", False)
        eventually(one, "document.querySelector('#overlay .js-plotly-plot').layout.annotations.length", 7)
    assert there.evaluate(SHOWN) == page.evaluate(SHOWN)
    assert there.evaluate("location.search") == EVERYTHING


def test_one_step_back_leaves_the_page_however_much_was_looked_at(open_page, site):
    page = open_page("/")
    page.wait_for_selector("#pick-files", state="attached")
    page.goto(site.address + site.demo)
    chart_drawn(page)
    page.locator("tr[data-block] >> nth=4").click()
    page.get_by_role("button", name="W", exact=True).click()
    page.get_by_role("button", name="Zoom in").click()
    page.evaluate("countercheck.screen.section('findings')")
    eventually(page, "location.hash", "#findings")
    eventually(page, "new URLSearchParams(location.search).get('unit')", "w")
    page.go_back()
    page.wait_for_selector("#pick-files", state="attached")
    assert page.evaluate("location.pathname") == "/"
    page.go_forward()
    chart_drawn(page)
    assert page.evaluate("countercheck.screen.now().unit") == "w", "and forward again it is as it was"


def test_a_link_to_the_last_section_lands_there_though_all_above_comes_later(open_page, site):
    page = open_page(site.demo + "#downloads", viewport={"width": 375, "height": 812})
    chart_drawn(page)
    page.wait_for_selector("#downloads")
    top = "document.getElementById('downloads').getBoundingClientRect().top"
    foot = "innerHeight + scrollY >= document.documentElement.scrollHeight - 2"
    for _ in range(3):  # it stays there while what is near comes in
        eventually(page, f"Math.abs({top}) < 120 || ({top} > 0 && {top} < innerHeight && {foot})")
        page.wait_for_timeout(600)
    assert page.evaluate("location.hash") == "#downloads"
