"""On every page, in every state, at four widths: nothing runs off the side, is cut, spills or lies on something else.

Referee: the browser's own boxes (`boxes.py`). One page is loaded for a state and made narrower in place.
"""

from __future__ import annotations

import pytest
from boxes import DRAWN, OVERLAPPING, SETTLING, SPILLING, TOO_FINE, TOO_SMALL, WIDER
from page_list import MEANT, NAMES, stops

WIDTHS = (1440, 1024, 768, 375)
TARGET_PX = 24  # WCAG 2.2, 2.5.8 target size (minimum)
# Letters smaller than this are not read on a phone held at arm's length (common practice, no source).
LETTER_PX = 11
# Dash and plotly.js together let 150 ms pass after the last change of a chart's box.
STEP_MS, STILL_MS = 60, 240
# 400 % on a window of 1280 px (WCAG 2.2, 1.4.10 reflow)
REFLOW_PX = 320


@pytest.fixture(scope="module")
def listed(site):
    return stops(site)


def settled(page) -> None:
    """Until nothing has moved for longer than a chart waits before it follows its box."""
    before, still = None, 0
    for _ in range(60):
        page.wait_for_timeout(STEP_MS)
        now = page.evaluate(SETTLING)
        still, before = (still + STEP_MS if now == before else 0), now
        if still >= STILL_MS:
            return


def wrong(page, width: int) -> list[str]:
    """What does not fit at this width."""
    page.set_viewport_size({"width": width, "height": 900})
    settled(page)
    over = page.evaluate(WIDER)
    found = [f"the page is {over} px wider than the window"] * (over > 0)
    found += [f"spills or is cut: {line}" for line in page.evaluate(SPILLING)]
    found += [f"overlap: {line}" for line in page.evaluate(OVERLAPPING)]
    found += [f"too small: {line}" for line in page.evaluate(TOO_SMALL, TARGET_PX)]
    found += [f"too fine: {line}" for line in page.evaluate(TOO_FINE, LETTER_PX)]
    found += [f"drawing: {line}" for line in page.evaluate(DRAWN)]
    return [f"{width} px: {line}" for line in found]


@pytest.mark.parametrize("name", NAMES)
def test_every_box_has_its_place(open_page, listed, watched, name):
    watched.expected = MEANT.get(name, ())
    page = open_page(listed[name].path, reduced_motion="reduce")
    listed[name].ready(page)
    found = wrong(page, WIDTHS[0])
    page.evaluate("document.querySelectorAll('details:not([open])').forEach(fold => { fold.open = true; })")
    for width in WIDTHS:
        found += [f"folds open, {line}" for line in wrong(page, width)]
    page.set_viewport_size({"width": REFLOW_PX, "height": 640})
    settled(page)
    over = page.evaluate(WIDER)
    found += [f"{REFLOW_PX} px: {over} px to scroll sideways"] * (over > 0)
    assert found == [], "\n".join(found[:60])


def test_the_boxes_do_find_something(open_page):
    """Every fault is found where it is put: the test above is not deaf."""
    page = open_page("/")
    page.wait_for_selector("main h1")
    page.evaluate(
        """document.querySelector('main').insertAdjacentHTML('afterbegin', `
          <div style="width: 3000px">wide</div>
          <p style="width: 40px; white-space: nowrap; overflow: hidden">cut off at its end</p>
          <p style="height: 8px; overflow: hidden">cut off at its foot</p>
          <button style="width: 10px; height: 10px; padding: 0; border: 0"></button>
          <p style="font-size: 8px">fine print</p>
          <h2 style="margin-bottom: -30px">over</h2><h3>under</h3>`)"""
    )
    found = "\n".join(wrong(page, 375))
    for fault in ("wider than the window", "cut: P", "at its foot", "too small: BUTTON", "fine print", "overlap: H2"):
        assert fault in found, fault
