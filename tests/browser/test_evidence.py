"""The evidence as readers meet it: sections and pictures once they are seen, linked or printed; both themes, a phone."""

from __future__ import annotations

import pytest
from driving import DESK, PHONE, eventually

SECTIONS = ["summary", "levels", "findings", "dependence", "response", "agreement", "pedalling", "recordings"]
PICTURES = {
    "findings": ["behind:2", "behind:3"],
    "dependence": ["curves:1", "curves:2"],
    "response": ["changes:1", "changes:2", "sprint-traces", "sprints", "bests"],
    "agreement": ["scatter"],
}
EMPTY = "[...document.querySelectorAll('.section-content:empty')].map(e => e.closest('section').id)"
DRAWN = "[...document.querySelectorAll('[data-evidence]')].filter(p => p.querySelector('.scatterlayer .trace')).length"


def seen(page, section: str) -> None:
    """Scroll to a section and wait for its content."""
    page.locator(f"#{section}").scroll_into_view_if_needed()
    page.wait_for_selector(f"#{section} .section-content > *", state="attached", timeout=15_000)


def test_headline_overlay_and_blocks_come_at_once_and_the_rest_when_it_is_seen(open_trial):
    page = open_trial(viewport=DESK)
    page.wait_for_timeout(500)
    ids = page.evaluate("[...document.querySelectorAll('.section')].map(s => s.id)")
    assert [i for i in ids if i in SECTIONS] == SECTIONS
    numbers = page.evaluate("[...document.querySelectorAll('.section-number')].map(n => Number(n.textContent))")
    assert numbers == list(range(1, len(numbers) + 1))
    assert page.locator("tr[data-block]").count() > 20
    assert page.evaluate(EMPTY) == SECTIONS
    assert page.evaluate(DRAWN) == 0
    seen(page, "summary")
    assert "recordings" in page.evaluate(EMPTY)
    # every head says what it means before its content is there
    heads = page.evaluate("[...document.querySelectorAll('.section-content:empty')].map(e => e.closest('section').innerText)")
    assert all(len(text) > 80 for text in heads)


@pytest.mark.parametrize(("theme", "size"), [("light", DESK), ("dark", PHONE)])
def test_every_section_and_picture_comes_when_scrolled_to_and_nothing_moves_sideways(open_trial, theme, size):
    page = open_trial(viewport=size, color_scheme=theme)
    for section in SECTIONS:
        seen(page, section)
        for name in PICTURES.get(section, ()):
            page.locator(f"[data-evidence='{name}']").scroll_into_view_if_needed()
            page.wait_for_selector(f"[data-evidence='{name}'] .scatterlayer .trace", state="attached", timeout=15_000)
    assert page.evaluate(EMPTY) == []
    for fold in page.locator("details.fold").all():
        fold.evaluate("e => { e.open = true; }")
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    boxes = page.evaluate(
        "[...document.querySelectorAll('[data-evidence]')].filter(p => p.querySelector('.main-svg')).map(p => "
        "[p.getBoundingClientRect().right, p.querySelector('.main-svg').getBoundingClientRect().right])"
    )
    assert all(inner <= outer + 1 for outer, inner in boxes)


@pytest.mark.parametrize("size", [DESK, PHONE])
def test_a_link_to_a_section_lands_there_though_nothing_of_it_is_loaded(open_trial, size):
    page = open_trial("#agreement", viewport=size)
    page.wait_for_selector("#agreement .section-content > *", state="attached", timeout=15_000)
    eventually(page, "Math.abs(document.getElementById('agreement').getBoundingClientRect().top) < 120")
    assert page.evaluate("location.hash") == "#agreement"
    link = page.locator("#pedalling .section-link")
    assert link.get_attribute("aria-label") == "Link to “Pedalling”"
    link.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("#pedalling .section-content > *", state="attached", timeout=15_000)
    eventually(page, "location.hash", "#pedalling")
    eventually(page, "Math.abs(document.getElementById('pedalling').getBoundingClientRect().top) < 120")


def test_before_it_is_printed_everything_is_filled(open_trial):
    page = open_trial(viewport=DESK)
    page.evaluate("window.print = () => { window.paper = [document.querySelectorAll('.section-content:empty').length,"
                  " [...document.querySelectorAll('[data-seen]')].filter(b => b.dataset.seen !== 'section-seen'"
                  " && !b.querySelector('.main-svg')).length]; }")  # fmt: skip
    page.keyboard.press("Control+p")
    eventually(page, "JSON.stringify(window.paper)", "[0,0]", timeout_ms=30_000)
    assert page.evaluate(DRAWN) == page.locator("[data-evidence]").count() > 4


def test_pictures_follow_the_theme_switch(open_trial):
    page = open_trial(viewport=DESK, color_scheme="light")
    seen(page, "agreement")
    page.locator("[data-evidence='scatter']").scroll_into_view_if_needed()
    page.wait_for_selector("[data-evidence='scatter'] .scatterlayer .trace", state="attached")
    text = "getComputedStyle(document.querySelector(\"[data-evidence='scatter'] .xtick text\")).fill"
    light = page.evaluate(text)
    page.click("#theme-switch")
    eventually(page, f"({text}) !== '{light}'")


def test_causes_are_folded_and_open_by_keyboard(open_trial):
    page = open_trial(viewport=DESK)
    seen(page, "findings")
    fold = page.locator("#findings details.fold").first
    assert fold.evaluate("e => e.open") is False
    fold.locator("summary").focus()
    page.keyboard.press("Enter")
    assert fold.evaluate("e => e.open") is True
    assert fold.locator("tbody tr").count() >= 8
