"""The evidence as readers meet it: sections in order, pictures once they are seen, both themes, a phone."""

from __future__ import annotations

import pytest
from driving import DESK, PHONE, eventually

SECTIONS = ["levels", "findings", "dependence", "response", "agreement", "pedalling"]
PICTURES = ["curves:1", "curves:2", "sprints", "bests", "scatter"]
DRAWN = "[...document.querySelectorAll('[data-evidence]')].filter(p => p.querySelector('.scatterlayer .trace')).length"


def test_sections_stand_in_order_and_pictures_wait_until_they_are_seen(open_trial):
    page = open_trial(viewport=DESK)
    ids = page.evaluate("[...document.querySelectorAll('.section')].map(s => s.id)")
    assert [i for i in ids if i in SECTIONS] == SECTIONS
    numbers = page.evaluate("[...document.querySelectorAll('.section-number')].map(n => Number(n.textContent))")
    assert numbers == list(range(1, len(numbers) + 1))
    assert sorted(page.evaluate("[...document.querySelectorAll('[data-evidence]')].map(p => p.dataset.evidence)")) == sorted(
        PICTURES
    )
    page.wait_for_timeout(500)
    assert page.evaluate(DRAWN) == 0


@pytest.mark.parametrize(("theme", "size"), [("light", DESK), ("dark", PHONE)])
def test_every_picture_appears_when_scrolled_to_and_nothing_moves_sideways(open_trial, theme, size):
    page = open_trial(viewport=size, color_scheme=theme)
    for name in PICTURES:
        page.locator(f"[data-evidence='{name}']").scroll_into_view_if_needed()
        page.wait_for_selector(f"[data-evidence='{name}'] .scatterlayer .trace", state="attached", timeout=10_000)
    for fold in page.locator("details.fold").all():
        fold.evaluate("e => { e.open = true; }")
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    boxes = page.evaluate(
        "[...document.querySelectorAll('[data-evidence]')].map(p => [p.getBoundingClientRect().right,"
        " p.querySelector('.main-svg').getBoundingClientRect().right])"
    )
    assert all(inner <= outer + 1 for outer, inner in boxes)


def test_pictures_follow_the_theme_switch(open_trial):
    page = open_trial(viewport=DESK, color_scheme="light")
    page.locator("[data-evidence='scatter']").scroll_into_view_if_needed()
    page.wait_for_selector("[data-evidence='scatter'] .scatterlayer .trace", state="attached")
    text = "getComputedStyle(document.querySelector(\"[data-evidence='scatter'] .xtick text\")).fill"
    light = page.evaluate(text)
    page.click("#theme-switch")
    eventually(page, f"({text}) !== '{light}'")


def test_causes_are_folded_and_open_by_keyboard(open_trial):
    page = open_trial(viewport=DESK)
    fold = page.locator("#findings details.fold").first
    assert fold.evaluate("e => e.open") is False
    fold.locator("summary").focus()
    page.keyboard.press("Enter")
    assert fold.evaluate("e => e.open") is True
    assert fold.locator("tbody tr").count() >= 8
