"""The overlay under fingers, sent as a touch screen does. Referees: the drawn figure, the address, the page's own scroll."""

from __future__ import annotations

import json

import pytest
from driving import PHONE, eventually

from app.offline import offline_report

META = "document.querySelector('#overlay .js-plotly-plot').layout.meta"
SEEN = "JSON.stringify(countercheck.overlay.view())"
CHOSEN = "JSON.stringify(countercheck.screen.now().window)"


class Fingers:
    """Fingers on a page's screen, in CSS pixels; each move is told in steps, as a hand does it."""

    def __init__(self, page) -> None:
        self.page, self.cdp = page, page.context.new_cdp_session(page)
        self.at: list[tuple[float, float]] = []

    def _send(self, kind: str, points) -> None:
        told = [{"x": x, "y": y, "id": i} for i, (x, y) in enumerate(points)]
        self.cdp.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": told})

    def down(self, *points) -> None:
        for i in range(len(points)):
            self._send("touchStart", points[: i + 1])
        self.at = list(points)

    def move(self, *points, steps: int = 10) -> None:
        start = self.at
        for k in range(1, steps + 1):
            between = [(a + (c - a) * k / steps, b + (d - b) * k / steps) for (a, b), (c, d) in zip(start, points, strict=True)]
            self._send("touchMove", between)
            self.page.wait_for_timeout(16)
        self.at = list(points)

    def up(self) -> None:
        self._send("touchEnd", [])
        self.at = []

    def tap(self, x: float, y: float) -> None:
        self.down((x, y))
        self.up()


@pytest.fixture
def phone(open_trial):
    def open_one(query: str = ""):
        page = open_trial(query, viewport=PHONE, has_touch=True, is_mobile=True)
        page.locator("#scrub-layer").scroll_into_view_if_needed()
        page.evaluate("document.getElementById('chart-box').scrollIntoView({ block: 'center', behavior: 'instant' })")
        page.wait_for_timeout(200)
        return page, Fingers(page), page.locator("#scrub-layer").bounding_box()

    return open_one


def at(box, frac: float, y: float = 60) -> tuple[float, float]:
    return box["x"] + frac * box["width"], box["y"] + y


def test_a_finger_across_selects_and_the_page_stays_where_it_is(phone):
    page, fingers, box = phone()
    scrolled = page.evaluate("scrollY")
    fingers.down(at(box, 0.25))
    fingers.move(at(box, 0.75, 66))
    fingers.up()
    low, high = json.loads(page.evaluate(CHOSEN))
    start, end = json.loads(page.evaluate("JSON.stringify(countercheck.overlay.whole())"))
    assert (low - start) / (end - start) == pytest.approx(0.25, abs=0.01)
    assert (high - start) / (end - start) == pytest.approx(0.75, abs=0.01)
    eventually(page, "document.querySelector('#interval-card [data-window]').dataset.window", f"{low:.3f} {high:.3f}")
    assert page.evaluate("scrollY") == scrolled
    eventually(page, "new URLSearchParams(location.search).get('from')", f"{low:.1f}")


@pytest.mark.parametrize("frac", [0.5, 0.0], ids=["on the lines", "on a handle"])
def test_a_finger_upwards_scrolls_past_the_chart_and_selects_nothing(phone, frac):
    page, fingers, box = phone("?from=600&to=900")
    scrolled = page.evaluate("scrollY")
    fingers.down(at(box, frac, 200))
    fingers.move(at(box, frac, -150))
    fingers.up()
    eventually(page, f"scrollY > {scrolled} + 200")
    assert json.loads(page.evaluate(CHOSEN)) == [600, 900]


def test_two_fingers_zoom_and_the_seconds_under_them_stay(phone):
    page, fingers, box = phone("?view=1000,2000&from=600&to=900")
    eventually(page, SEEN, "[1000,2000]")
    scrolled = page.evaluate("scrollY")
    fingers.down(at(box, 0.4), at(box, 0.6, 160))
    fingers.move(at(box, 0.2), at(box, 0.8, 260))
    low, high = json.loads(page.evaluate(SEEN))
    # 1400 s and 1600 s were under the fingers, whose distance also has a height
    assert low + (high - low) / 2 == pytest.approx(1500, abs=5)
    across, grown = 0.2 * box["width"], 0.6 * box["width"]
    assert high - low == pytest.approx(1000 * (across**2 + 100**2) ** 0.5 / (grown**2 + 200**2) ** 0.5, rel=0.02)
    fingers.up()
    eventually(page, f"JSON.stringify({META}.view)", json.dumps([low, high], separators=(",", ":")))
    eventually(page, "new URLSearchParams(location.search).get('view').split(',').map(Number)", [low, high])
    assert json.loads(page.evaluate(CHOSEN)) == [600, 900], "the first finger selects nothing"
    assert page.evaluate("scrollY") == scrolled
    assert page.evaluate("visualViewport.scale") == 1


def test_two_fingers_moved_together_pan_also_upwards(phone):
    page, fingers, box = phone("?view=1000,2000")
    eventually(page, SEEN, "[1000,2000]")
    scrolled = page.evaluate("scrollY")
    fingers.down(at(box, 0.5), at(box, 0.9))
    fingers.move(at(box, 0.25, 100), at(box, 0.65, 100))
    fingers.up()
    low, high = json.loads(page.evaluate(SEEN))
    assert low == pytest.approx(1250, abs=8) and high - low == pytest.approx(1000, abs=1)
    assert page.evaluate("scrollY") == scrolled


def test_a_double_tap_shows_the_whole_trial_and_on_a_block_that_block(phone):
    page, fingers, box = phone("?view=1000,2000")
    eventually(page, SEEN, "[1000,2000]")
    for _ in range(2):
        fingers.tap(*at(box, 0.5))
    eventually(page, "countercheck.screen.now().view", None)
    eventually(page, f"{META}.view[0]", 0)
    for _ in range(2):
        fingers.tap(*at(box, 0.42, box["height"] - 12))
    chosen = json.loads(page.evaluate(CHOSEN))
    assert chosen is not None
    eventually(page, "JSON.stringify(countercheck.screen.now().view)", json.dumps(chosen, separators=(",", ":")))


def test_a_tap_reads_that_second_until_the_next(phone):
    page, fingers, box = phone("?view=1000,2000")
    eventually(page, SEEN, "[1000,2000]")
    fingers.tap(*at(box, 0.3))
    eventually(page, "document.getElementById('readout-clock').textContent.startsWith('at 21:40')")
    assert page.inner_text("[data-readout='pedals']").split("\u202f")[0].isdigit()
    assert page.evaluate(CHOSEN) == "null"
    page.locator("#view-later").tap()
    eventually(page, SEEN, "[1500,2500]")
    assert not page.locator(".scrub-cursor").is_visible(), "its second is out of sight"


def test_handles_are_large_enough_and_never_cover_each_other(phone):
    page, _, box = phone()
    start, end = json.loads(page.evaluate("JSON.stringify(countercheck.overlay.whole())"))
    for ends in ("1000,1004", "0,2", "3914,3916", "0,900"):
        page.evaluate(f"countercheck.overlay.choose({ends}, true)")
        handles = [page.locator(f".scrub-handle[data-edge='{edge}']").bounding_box() for edge in ("from", "to")]
        chart = page.locator("#chart-box").bounding_box()
        for handle in handles:
            seen = min(handle["x"] + handle["width"], chart["x"] + chart["width"]) - max(handle["x"], chart["x"])
            assert seen >= 24, (ends, "WCAG 2.2, 2.5.8")
        assert handles[0]["x"] + handles[0]["width"] <= handles[1]["x"] + 0.5, ends
        chosen = json.loads(page.evaluate("JSON.stringify(countercheck.overlay.chosen())"))
        for edge, t in zip(("from", "to"), chosen, strict=True):
            grip = page.locator(f".scrub-handle[data-edge='{edge}'] span").bounding_box()
            assert grip["x"] + grip["width"] / 2 == pytest.approx(box["x"] + (t - start) / (end - start) * box["width"], abs=1.5)


def test_a_handle_is_dragged_by_a_finger(phone):
    page, fingers, box = phone("?from=1000&to=2000")
    start, end = json.loads(page.evaluate("JSON.stringify(countercheck.overlay.whole())"))
    fingers.down(at(box, (2000 - start) / (end - start) + 0.03))
    fingers.move(at(box, (3000 - start) / (end - start) + 0.03))
    fingers.up()
    low, high = json.loads(page.evaluate(CHOSEN))
    assert low == 1000 and 2900 < high < 3200


def test_the_report_in_one_file_takes_two_fingers_too(chromium, site, tmp_path):
    found = site.services.jobs.ask(site.demo.split("/")[-1]).open_trial
    file = tmp_path / "report.html"
    file.write_text(offline_report(found), encoding="utf-8")
    context = chromium.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(file.as_uri())
    page.wait_for_selector("[data-picture='overlay'] .scatterlayer .trace", state="attached")
    page.evaluate("document.getElementById('chart-box').scrollIntoView({ block: 'center', behavior: 'instant' })")
    page.wait_for_timeout(300)
    box, fingers = page.locator("#scrub-layer").bounding_box(), Fingers(page)
    fingers.down(at(box, 0.4), at(box, 0.6))
    fingers.move(at(box, 0.1), at(box, 0.9))
    fingers.up()
    low, high = json.loads(page.evaluate("JSON.stringify(countercheck.screen.now().view)"))
    whole = json.loads(page.evaluate("JSON.stringify(countercheck.overlay.whole())"))
    assert high - low == pytest.approx((whole[1] - whole[0]) / 4, rel=0.05)
    context.close()
