"""What a page's own boxes say is wrong with it: questions to the browser, each answered by a list of sentences."""

from __future__ import annotations

# Text that is wider or higher than the box it stands in, where that box is not one to scroll in, nor one hidden on purpose.
SPILLING = """() => [...document.querySelectorAll("main *, header *")].filter(node => {
  if (!node.checkVisibility() || node.matches("[aria-hidden=true], .chart-box, .design-part-mark")) return false;
  if (node.closest("svg, .js-plotly-plot, .hidden-text, [hidden], #scrub-layer, select, input, textarea")) return false;
  const style = getComputedStyle(node);
  if (style.display.startsWith("inline") && style.display !== "inline-block" || style.display === "contents") return false;
  const head = node.closest("thead");
  if (head && getComputedStyle(head).clipPath !== "none") return false;
  if (["auto", "scroll"].includes(style.overflowX) || style.clipPath !== "none") return false;
  if (!node.getClientRects().length || !node.clientWidth) return false;
  const scrolled = node.parentElement.closest(".table-box, [data-scrolls]");
  if (scrolled && !["TD", "TH"].includes(node.tagName)) return false;
  const cut = style.overflowY === "hidden" && node.scrollHeight > node.clientHeight + 2;
  return cut || node.scrollWidth > node.clientWidth + 1;
}).map(node => `${node.tagName}.${node.className} #${node.id} ` +
  `${node.scrollWidth} > ${node.clientWidth}: ${node.innerText.slice(0, 40)}`)"""

# Pairs of boxes that belong beside or below each other, never on top of each other: what stands in one another is left out.
OVERLAPPING = """() => {
  const main = "h1, h2, h3, p, dl, .second-sentence, .verdict-lines, .overlay, .interval-card, .table-box, .finding, .legend," +
    " .section-head, .owner-panel, .record-cards > *, main button, main a, main select, main input, main textarea," +
    " main summary, .chart-box, .evidence-picture, header a, header button, .site-head a, .site-head button";
  const seen = [...document.querySelectorAll(main)].filter(node => {
    const box = node.getBoundingClientRect(), style = getComputedStyle(node);
    return node.checkVisibility() && box.width > 1 && box.height > 1 && style.visibility !== "hidden" && style.clipPath === "none"
      && style.position !== "fixed" && Number(style.opacity) > 0
      && !node.closest("#scrub-layer, .hidden-text, .skip-link, .modebar, .changing, .note-layer, #block-layer")
      && !(node.closest(".table-box") && !node.matches(".table-box")) && !node.closest("#dossier-said");
  }).map(node => ({ node, inline: getComputedStyle(node).display === "inline", boxes: [...node.getClientRects()] }));
  const found = [], words = node => (node.innerText || node.name || "").slice(0, 30);
  const name = node => `${node.tagName}.${node.className} #${node.id} ${words(node)}`;
  seen.forEach((one, i) => seen.slice(i + 1).forEach(other => {
    if (one.node.contains(other.node) || other.node.contains(one.node)) return;
    one.boxes.forEach(a => other.boxes.forEach(b => {
      const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      // the lines of running text lie a little over each other
      const least = one.inline || other.inline ? 5 : 2;
      if (wide > 2 && high > least)
        found.push(`${name(one.node)} and ${name(other.node)}: ${wide.toFixed(0)} by ${high.toFixed(0)} px`);
    }));
  }));
  return found;
}"""

# Things to press or type in. A link in running text may be as high as its line (2.5.8, exception "inline").
TOO_SMALL = """least => [...document.querySelectorAll(
  "button, summary, select, [role=button], [role=tab], [role=slider], input[type=checkbox], input[type=radio], input[type=text]"
  )].filter(node => {
    const box = (node.closest("label") || node).getBoundingClientRect();
    return box.width > 0 && node.checkVisibility() && !node.closest(".hidden-text, .modebar, #scrub-layer")
      && Math.min(Math.max(box.width, node.getBoundingClientRect().width), box.height) < least - 0.5;
  }).map(node => {
    const box = node.getBoundingClientRect();
    return `${node.tagName}.${node.className} #${node.id} ${box.width.toFixed(1)} by ${box.height.toFixed(1)}`
      + `: ${node.innerText.slice(0, 40)}`;
  })"""

# The size at which letters stand on the screen, in drawings after their scaling.
TOO_FINE = """least => {
  const found = new Map(), seen = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (seen.nextNode()) {
    const node = seen.currentNode.parentElement;
    if (!seen.currentNode.data.trim() || !node.checkVisibility()) continue;
    if (node.closest(".hidden-text, noscript, script, style")) continue;
    const style = getComputedStyle(node), drawing = node.closest("svg");
    if (style.visibility === "hidden") continue;
    const scale = drawing && node.getScreenCTM ? Math.abs(node.getScreenCTM().d) || 1 : 1;
    const size = parseFloat(style.fontSize) * scale;
    const where = `${node.tagName}.${node.getAttribute("class")} ${size.toFixed(1)} px`;
    if (size < least - 0.05) found.set(where, seen.currentNode.data.slice(0, 40));
  }
  return [...found].map(([where, words]) => `${where}: ${words}`);
}"""

# Words in drawings: none beyond the drawing's edge, none on top of another.
DRAWN = """() => {
  const found = [];
  document.querySelectorAll(".js-plotly-plot, .example-drawing, .pedal-drawing").forEach(plot => {
    if (!plot.checkVisibility()) return;
    const edge = (plot.closest(".chart-box") || plot).getBoundingClientRect();
    const words = [...plot.querySelectorAll("svg text, :scope > text, :scope g > text")].filter(text =>
      text.textContent.trim() && text.checkVisibility({ opacityProperty: true, visibilityProperty: true })
      && !text.closest(".hoverlayer, .modebar, defs"));
    const boxes = [...new Set(words)].map(text => ({ text: text.textContent.slice(0, 40), box: text.getBoundingClientRect() }))
      .filter(one => one.box.width > 0);
    const where = plot.closest("section, header, figure");
    const at = `${(where && (where.id || where.className)) || "?"}: `;
    boxes.forEach((one, i) => {
      const a = one.box;
      if (a.left < edge.left - 2 || a.right > edge.right + 2 || a.top < edge.top - 3 || a.bottom > edge.bottom + 3)
        found.push(`${at}"${one.text}" reaches beyond its drawing`);
      boxes.slice(i + 1).forEach(other => {
        const b = other.box, wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (wide > 2 && high > 5) found.push(`${at}"${one.text}" lies on "${other.text}"`);
      });
    });
  });
  return [...new Set(found)];
}"""

WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
# Changes as long as something still moves: the page's height and the drawings' widths.
SETTLING = """() => document.documentElement.scrollHeight + ":" +
  [...document.querySelectorAll(".main-svg")].map(one => one.getAttribute("width")).join()"""
