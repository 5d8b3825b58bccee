"""Every page from its first to its last control by the tab key alone. Referees: the browser's focus, WCAG 2.2 (2.1.2, 2.4.1,
2.4.3, 2.4.7, 2.4.11)."""

from __future__ import annotations

import pytest
from driving import PHONE, eventually
from page_list import MEANT, stops

WALKED = (
    "home with a sheet", "interval of a reader", "blocks first", "no result", "plan editor", "kept plan of its owner",
    "no dossiers", "dossier of its owner",
)  # fmt: skip
MOST = 900  # more stops than any page has: a walk that does not end is a trap

# Where the focus is now: its place among all elements, whether it can be seen, and what marks it.
FOCUS = """() => {
  const node = document.activeElement;
  if (!node || node === document.body) return null;
  const box = node.getBoundingClientRect(), style = getComputedStyle(node);
  const inside = box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth && box.width > 0;
  const at = [Math.min(Math.max(box.left + box.width / 2, 1), innerWidth - 1),
    Math.min(Math.max(box.top + Math.min(box.height / 2, 12), 1), innerHeight - 1)];
  const top = document.elementFromPoint(...at);
  const covered = Boolean(top) && !node.contains(top) && !top.contains(node) && getComputedStyle(top).position === "fixed";
  return { place: [...document.querySelectorAll("*")].indexOf(node), inside, covered,
    marked: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
    name: `${node.tagName}.${node.className} #${node.id} ${(node.innerText || node.value || "").slice(0, 30)}` };
}"""


@pytest.fixture(scope="module")
def listed(site):
    return stops(site)


@pytest.mark.parametrize("name", WALKED)
def test_tab_reaches_everything_in_order_and_the_focus_is_seen(open_page, listed, watched, name):
    watched.expected = MEANT.get(name, ())
    page = open_page(listed[name].path, reduced_motion="reduce")
    listed[name].ready(page)
    page.evaluate("scrollTo(0, 0); document.activeElement.blur()")
    walked, found = [], []
    for _ in range(MOST):
        page.keyboard.press("Tab")
        focus = page.evaluate(FOCUS)
        if focus is None or (walked and focus["place"] == walked[0]):
            break
        if walked and focus["place"] <= walked[-1]:
            found.append(f"back up to {focus['name']}")
        for fault, what in (("inside", "is out of sight"), ("marked", "has no mark")):
            found += [] if focus[fault] else [f"{focus['name']} {what}"]
        found += [f"{focus['name']} is covered"] if focus["covered"] else []
        walked.append(focus["place"])
    else:
        found.append("the walk does not end")
    assert found == [], "\n".join(found[:30])
    assert len(walked) >= 5
    assert page.evaluate("[...document.querySelectorAll('[tabindex]')].filter(e => e.tabIndex > 0).length") == 0


@pytest.mark.parametrize("name", ["home", "interval of a reader"])
def test_the_skip_link_comes_first_and_leads_past_the_head(open_page, listed, name):
    page = open_page(listed[name].path)
    listed[name].ready(page)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to content"
    page.keyboard.press("Enter")
    eventually(page, "document.activeElement.id", "main")
    page.keyboard.press("Tab")
    assert page.evaluate("document.querySelector('main').contains(document.activeElement)")


def test_an_interval_is_told_to_ears_once_it_stands_still(open_trial):
    page = open_trial()
    page.wait_for_selector("#card-told", state="attached")
    assert page.inner_text("#card-told") == ""
    page.locator("#chart-box").focus()
    page.keyboard.press("]")
    eventually(page, "document.querySelector('#card-told').textContent.startsWith('Interval ')")
    told, card = page.inner_text("#card-told"), page.inner_text("#interval-card")
    for device in ("spider", "pedals"):
        said = next(piece for piece in told.split("; ") if piece.startswith(device))
        assert said.split()[1] in card, "the card's own figure"
    assert " to " in told


def test_in_the_systems_own_colours_every_mark_is_still_there(open_trial):
    """Forced colours take backgrounds and shadows away; what they told must be told otherwise."""
    page = open_trial(forced_colors="active", color_scheme="dark")
    for mark in (".line-sample", ".range-mark .dot", ".block-letter", ".js-plotly-plot"):
        assert page.evaluate(f"getComputedStyle(document.querySelector('{mark}')).forcedColorAdjust") == "none", mark
    pressed = page.evaluate("getComputedStyle(document.querySelector('[aria-pressed=true]')).outlineStyle")
    assert pressed == "solid"


def test_nothing_moves_for_whom_movement_is_switched_off(open_trial):
    page = open_trial(reduced_motion="reduce", viewport=PHONE)
    moving = """[...document.querySelectorAll("*")].filter(node => {
      const style = getComputedStyle(node);
      return style.scrollBehavior === "smooth" || style.animationName !== "none"
        || style.transitionDuration.split(",").some(s => parseFloat(s) > 0);
    }).map(node => node.outerHTML.slice(0, 80))"""
    assert page.evaluate(moving) == []
