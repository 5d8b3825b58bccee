"""What a reader can choose in a report without a server: controls, keys, tables of another pair, address; as with one."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from driving import PHONE, eventually
from offline_pages import alone
from open_trials import boathouse
from plotly.io import to_json

from analysis.pairs import only, tables_against
from analysis.report import blocks_of
from app import drawings
from app.offline.markup import standing
from app.views.chapters import Material
from app.views.evidence import content_of
from app.views.frozen import html_text

META = "document.querySelector('#overlay .js-plotly-plot').layout.meta"
NAMES = "document.querySelector('#overlay .js-plotly-plot').layout.annotations.map((one) => one.text).join('; ')"
CARD = "document.querySelector('#interval-card [data-window]').dataset.window"
# Whether a section holds what the server's markup says, less what scripts add to a table (tools, buttons, what is selected)
# and the boxes around it; as trees, because the order of attributes says nothing.
SAYS = """([name, markup]) => {
  const bare = (text) => {
    const page = document.createElement("div");
    page.innerHTML = text;
    page.querySelectorAll(".table-tools, .head-sort").forEach((one) => one.remove());
    page.querySelectorAll("button.sorter, .frozen").forEach((one) => one.replaceWith(...one.childNodes));
    page.querySelectorAll("*").forEach((one) =>
      ["data-equipped", "data-order", "aria-sort", "aria-selected"].forEach((added) => one.removeAttribute(added)));
    page.normalize();
    return page;
  };
  const box = document.querySelector(`[data-pair-box='${name}']`);
  return bare(box.innerHTML).isEqualNode(bare(markup));
}"""


@pytest.fixture(scope="module")
def found():
    return boathouse()


def said_by_server(found, against: str | None, device: str | None) -> dict[str, str]:
    trial, report = found.trial, found.report
    if against is not None:
        report = {**report, **tables_against(trial, blocks_of(report), against)}
    if device is not None:
        report = only(report, device)
    told = Material(report=report, labels=trial.labels, trial=trial)
    return {name: html_text(standing(content_of(name, told, trial.reference))) for name in ("blocks", "summary", "levels")}


PAIRS = [("spider", None), ("pedals", None), (None, "pedals"), ("spider", "pedals"), ("pedals", "hub"), (None, None)]


def test_tables_of_every_pair_are_the_servers(chromium, tmp_path, found):
    """Referee: the server's own answer for the pair."""
    with alone(chromium, tmp_path, found) as page:
        for against, device in PAIRS:
            page.evaluate("(pair) => countercheck.screen.set(pair)", {"against": against, "device": device})
            wanted = said_by_server(found, against, device)
            for name, markup in wanted.items():
                eventually(page, f"({SAYS})({json.dumps([name, markup])})", what=f"{name} of {device} against {against}")
        assert page.locator(".pair-notice").count() == 0


def test_the_way_back_from_a_pair(chromium, tmp_path, found):
    with alone(chromium, tmp_path, found) as page:
        page.select_option("[data-show='against']", "spider")
        page.locator("#summary .pair-notice [data-pair-back]").click()
        eventually(page, "document.querySelectorAll('.pair-notice').length", 0)
        assert page.input_value("[data-show='against']") == ""


def test_each_control_changes_what_is_drawn_and_the_address(chromium, tmp_path, found):
    with alone(chromium, tmp_path, found) as page:
        page.click("[data-show='unit'][data-value='w']")
        eventually(page, f"{NAMES}.includes('pedals minus hub [W]')")
        page.select_option("[data-show='device']", "pedals")
        eventually(page, f"{NAMES}.includes('spider')", False)
        assert page.locator("li:has(> [data-readout='spider'])").is_hidden()
        page.select_option("[data-show='against']", "spider")
        eventually(page, f"{NAMES}.includes('pedals minus spider [W]')")
        page.select_option("[data-show='mean_s']", "30")
        eventually(page, f"{META}.mean_s", 30)
        assert "moving mean of 30 s" in page.evaluate(NAMES)
        before = page.locator("#chart-box").bounding_box()["height"]
        page.click("[data-show='rows'][data-value='cadence']")
        page.click("[data-show='rows'][data-value='temperature']")
        eventually(page, f"{NAMES}.includes('cadence [rpm]; temperature of the recording unit')")
        assert page.locator("#chart-box").bounding_box()["height"] > before + 100
        page.click("[data-show='axis'][data-value='clock']")
        eventually(page, f"{META}.axis", "clock")
        for part in ("unit=w", "device=pedals", "against=spider", "mean=30", "rows=cadence,temperature", "axis=clock"):
            eventually(page, f"location.search.includes('{part}')")
        assert page.evaluate("history.length") <= 2
        address = page.url
        page.reload()
        page.wait_for_selector("#overlay .scatterlayer .trace", state="attached")
        assert page.url == address
        assert page.evaluate(NAMES).startswith("power [W], moving mean of 30 s")
        assert page.get_attribute("[data-show='unit'][data-value='w']", "aria-pressed") == "true"
        assert page.input_value("[data-show='against']") == "spider"
        eventually(page, "document.documentElement.dataset.unit", "w")
        eventually(page, "document.querySelector('#blocks .pair-notice') !== null")


def test_an_address_brings_interval_stretch_and_section(chromium, tmp_path, found):
    with alone(chromium, tmp_path, found, query="?from=1200&to=1500&view=900,1800#agreement") as page:
        eventually(page, CARD, "1200.000 1500.000")
        assert page.inner_text("#interval-card").startswith("Interval")
        assert page.evaluate(f"{META}.view") == [900, 1800]
        eventually(page, "Math.abs(document.getElementById('agreement').getBoundingClientRect().top) < 200")


def test_the_keys_move_zoom_and_fill_the_window(chromium, tmp_path, found):
    view = f"{META}.view.map(Math.round).join()"
    with alone(chromium, tmp_path, found) as page:
        page.locator("#chart-box").focus()
        page.keyboard.press("]")
        first = found.report["blocks"][0]
        eventually(page, f"{CARD}.startsWith('{first.get('interior_start_s') or first['start_s']:.3f}')")
        page.keyboard.press("]")
        page.keyboard.press("Enter")
        eventually(page, f"{META}.view[1] - {META}.view[0] < 900")
        near = page.evaluate(view)
        page.keyboard.press("ArrowRight")
        eventually(page, f"{view} !== '{near}'")
        page.keyboard.press("0")
        eventually(page, view, f"{found.trial.start_s:.0f},{found.trial.end_s:.0f}")
        page.keyboard.press("+")
        eventually(page, f"Math.round({META}.view[1] - {META}.view[0])", round((found.trial.end_s - found.trial.start_s) / 2))
        page.keyboard.press("f")
        eventually(page, "document.fullscreenElement !== null || document.querySelector('.overlay.filling') !== null")
        page.keyboard.press("f")
        eventually(page, "document.fullscreenElement === null && document.querySelector('.overlay.filling') === null")


def test_a_fold_of_the_card_stays_open_while_the_interval_moves(chromium, tmp_path, found):
    with alone(chromium, tmp_path, found) as page:
        page.locator("#interval-card details summary").last.click()
        page.evaluate("countercheck.overlay.choose(600, 900, true)")
        eventually(page, CARD, "600.000 900.000")
        assert page.locator("#interval-card details").last.get_attribute("open") is not None
        assert page.locator("#interval-card .card-peaks:visible tbody tr").count() == 3


def test_pictures_in_the_dark_are_the_servers(chromium, tmp_path, found):
    """Referee: the same picture drawn in Python in dark ink."""
    with alone(chromium, tmp_path, found) as page:
        names = page.evaluate("Object.keys(countercheck.alone.held.pictures)")
        dark = {name: page.evaluate("(name) => countercheck.alone.picture(name, 'dark')", name) for name in names}
    assert len(names) >= 8
    for name, picture in dark.items():
        assert picture == json.loads(to_json(drawings.named(found, name, "dark"), validate=False)), name


@pytest.mark.parametrize("size", [None, PHONE])
def test_every_choice_fits_the_window(chromium, tmp_path, found, size):
    query = "?against=spider&unit=w&rows=cadence,heart_rate,temperature,balance&mean=10&from=1200&to=2000&axis=clock"
    options = {"viewport": size} if size else {}
    with alone(chromium, tmp_path, found, query=query, **options) as page:
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        eventually(page, "document.querySelector('#blocks .pair-notice') !== null")
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        assert page.locator("[data-copy='address']:visible").count() == 0


def test_memory_stays_over_two_hundred_scrubs(chromium, tmp_path, found):
    """Referee: Chromium's own count of the page's heap, after collecting what nobody holds."""
    with alone(chromium, tmp_path, found) as page:
        session = page.context.new_cdp_session(page)

        def held_mb() -> float:
            session.send("HeapProfiler.collectGarbage")
            return page.evaluate("performance.memory.usedJSHeapSize") / 1e6

        spans = np.random.default_rng(5).integers(0, 3000, 200)
        for start in spans[:20].tolist():
            page.evaluate("(start) => countercheck.overlay.choose(start, start + 300, true)", start)
        before = held_mb()
        for start in spans.tolist():
            page.evaluate("(start) => countercheck.overlay.choose(start, start + 300, true)", start)
            page.wait_for_timeout(5)
        assert re.match(r"\d", page.evaluate(CARD))
        assert held_mb() - before < 10
