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
