"""Nothing runs off the side, spills over its box or lies on something else, at four widths. Referee: the browser's own boxes."""

from __future__ import annotations

import pytest
from page_list import stops

WIDTHS = (1440, 1024, 768, 375)
PAGES = ("home", "home with a sheet", "interval of a reader", "no dossiers")
TARGET_PX = 24  # WCAG 2.2, 2.5.8 target size (minimum)

# Text that is wider or higher than the box it stands in, where that box is not one to scroll in, nor one hidden on purpose.
SPILLING = """() => [...document.querySelectorAll("main *, header *")].filter(node => {
  if (!node.checkVisibility() || node.matches("[aria-hidden=true], .chart-box, .design-part-mark")) return false;
  if (node.closest("svg, .js-plotly-plot, .hidden-text, [hidden], #scrub-layer, select, input, textarea")) return false;
  const style = getComputedStyle(node);
  if (style.display.startsWith("inline") && style.display !== "inline-block" || style.display === "contents") return false;
  const head = node.closest("thead");
  if (head && getComputedStyle(head).clipPath !== "none") return false;
  if (["auto", "scroll"].includes(style.overflowX) || style.clipPath !== "none") return false;
  if (style.textOverflow === "ellipsis" || !node.getClientRects().length || !node.clientWidth) return false;
  const scrolled = node.parentElement.closest(".table-box, [data-scrolls]");
  if (scrolled && !["TD", "TH"].includes(node.tagName)) return false;
  return node.scrollWidth > node.clientWidth + 1;
}).map(node => `${node.tagName}.${node.className} #${node.id} ` +
  `${node.scrollWidth} > ${node.clientWidth}: ${node.innerText.slice(0, 40)}`)"""

# Pairs of boxes that belong beside or below each other, never on top of each other: what stands in one another is left out.
OVERLAPPING = """() => {
  const main = "h1, h2, .second-sentence, .verdict-lines, .overlay, .interval-card, .table-box, .finding, .legend," +
    " .section-head," +
    " .owner-panel, .record-cards > *, main button, main select, main input, main summary, .chart-box";
  const seen = [...document.querySelectorAll(main)].filter(node => {
    const box = node.getBoundingClientRect(), style = getComputedStyle(node);
    return node.checkVisibility() && box.width > 1 && box.height > 1 && style.visibility !== "hidden" && style.clipPath === "none"
      && !node.closest("#scrub-layer, .hidden-text, .skip-link, .modebar") && Number(style.opacity) > 0
      && !(node.closest(".table-box") && !node.matches(".table-box"));
  });
  const found = [];
  seen.forEach((one, i) => seen.slice(i + 1).forEach(other => {
    if (one.contains(other) || other.contains(one)) return;
    const a = one.getBoundingClientRect(), b = other.getBoundingClientRect();
    const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (wide > 2 && high > 2) {
      const name = node => `${node.tagName}.${node.className} #${node.id} ${(node.innerText || node.name || "").slice(0, 30)}`;
      found.push(`${name(one)} and ${name(other)}: ${wide.toFixed(0)} by ${high.toFixed(0)} px`);
    }
  }));
  return found;
}"""

TOO_SMALL = """least => [...document.querySelectorAll(
  "button, summary, select, [role=button], [role=tab], input[type=checkbox], input[type=radio]")].filter(node => {
    const box = (node.closest("label") || node).getBoundingClientRect();
    return box.width > 0 && node.checkVisibility() && !node.closest(".hidden-text, .modebar, #scrub-layer")
      && Math.min(Math.max(box.width, node.getBoundingClientRect().width), box.height) < least - 0.5;
  }).map(node => {
    const box = node.getBoundingClientRect();
    return `${node.tagName}.${node.className} #${node.id} ${box.width.toFixed(1)} by ${box.height.toFixed(1)}`
      + `: ${node.innerText.slice(0, 40)}`;
  })"""


@pytest.fixture(scope="module")
def listed(site):
    return stops(site)


def wrong(page) -> list[str]:
    """What does not fit at each width, folds closed and open."""
    found = []
    for folds in ("closed", "open"):
        if folds == "open":
            page.evaluate("document.querySelectorAll('details:not([open])').forEach(fold => { fold.open = true; })")
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            page.wait_for_timeout(400)
            page.evaluate("scrollTo({top: 0, behavior: 'instant'})")
            at = f"{width} px, folds {folds}: "
            over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
            found += [f"{at}the page is {over} px wider than the window"] * (over > 0)
            found += [f"{at}spills: {line}" for line in page.evaluate(SPILLING)]
            found += [f"{at}overlap: {line}" for line in page.evaluate(OVERLAPPING)]
            found += [f"{at}too small: {line}" for line in page.evaluate(TOO_SMALL, TARGET_PX)]
    return found


@pytest.mark.parametrize("name", PAGES)
def test_every_box_has_its_place(open_page, listed, name):
    page = open_page(listed[name].path)
    listed[name].ready(page)
    found = wrong(page)
    assert found == [], "\n".join(found[:40])
