/* The overlay as a picture to take away: as it stands on the screen, with its legend, the interval chosen, units and the
   trial's name, made in the browser and sent nowhere. PNG once, twice and for a video; SVG for print. */
"use strict";
(function () {
  const NS = "http://www.w3.org/2000/svg", MARGIN = 16, TITLE_PX = 22, LEGEND_PX = 24, FOOT_PX = 24, LEAST_PX = 640;
  const FONT = "-apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', 'Liberation Sans', Arial, sans-serif";
  const SAID_MS = 2400;
  // Width and height of the drawing, and how many pixels one of its units becomes; null takes the size on the screen.
  const KINDS = {
    "png-1": { scale: 1 }, "png-2": { scale: 2 }, video: { width: 1280, height: 720, scale: 1.5 },
    clear: { scale: 2, clear: true }, svg: { svg: true },
  };

  function graph() { return document.querySelector("#overlay .js-plotly-plot"); }

  function put(parent, tag, attributes, text) {
    const node = document.createElementNS(NS, tag);
    Object.keys(attributes).forEach(function (name) { node.setAttribute(name, String(attributes[name])); });
    if (text !== undefined) node.textContent = text; // a label is never more than text
    parent.appendChild(node);
    return node;
  }

  function ink(name) { return getComputedStyle(document.documentElement).getPropertyValue(name).trim(); }
  function words(selector) { const node = document.querySelector(selector); return node ? node.textContent.replace(/\s+/g, " ").trim() : ""; }

  /* ---- the parts around the chart */

  function lines(gd) {
    const first = document.querySelector(".overlay .legend .label-text");
    const all = gd._fullData.filter(function (trace) { return trace.meta && trace.meta.kind === "power"; });
    const order = Array.from(document.querySelectorAll(".overlay .legend .label-text")).map(function (n) { return n.textContent; });
    return all.sort(function (a, b) { return order.indexOf(a.meta.label) - order.indexOf(b.meta.label); }).map(function (trace) {
      const path = gd.querySelector(".trace" + trace.uid + " path.js-line");
      return {
        label: trace.meta.label + (first && trace.meta.label === first.textContent && all.length > 1 ? " (reference)" : ""),
        colour: trace.line.color, width: trace.line.width, dash: path ? path.style.strokeDasharray : "",
      };
    });
  }

  function legend(svg, gd, width, y) {
    let x = MARGIN;
    const measure = document.createElement("canvas").getContext("2d");
    measure.font = "13px " + FONT;
    lines(gd).forEach(function (one) {
      const long = 34 + measure.measureText(one.label).width + 22;
      if (x > MARGIN && x + long > width - MARGIN) { x = MARGIN; y += LEGEND_PX; }
      put(svg, "line", { x1: x, x2: x + 26, y1: y - 4, y2: y - 4, stroke: one.colour, "stroke-width": one.width, "stroke-dasharray": one.dash || "none" });
      put(svg, "text", { x: x + 34, y: y, fill: ink("--text"), "font-size": 13 }, one.label);
      x += long;
    });
    return y;
  }

  function chosen(svg, gd, left, top, width, height) {
    const at = window.countercheck.overlay, w = at.chosen(), seen = at.view(), l = gd._fullLayout.margin;
    const whole = [Number(document.getElementById("scrub-layer").dataset.start), Number(document.getElementById("scrub-layer").dataset.end)];
    if (w[0] === whole[0] && w[1] === whole[1]) return "";
    const inner = width - l.l - l.r, share = function (t) { return Math.min(Math.max((t - seen[0]) / (seen[1] - seen[0]), 0), 1); };
    const from = left + l.l + share(w[0]) * inner, to = left + l.l + share(w[1]) * inner;
    if (to > from) put(svg, "rect", { x: from, y: top + l.t, width: to - from, height: height - l.t - l.b, fill: ink("--accent"), "fill-opacity": 0.14 });
    return "interval " + at.clock(w[0]) + "\u2013" + at.clock(w[1]);
  }

  function clipped(text, font, room) {
    const measure = document.createElement("canvas").getContext("2d");
    measure.font = font;
    let cut = text;
    while (cut.length > 4 && measure.measureText(cut).width > room) cut = cut.slice(0, -2);
    return cut === text ? text : cut.trimEnd() + "\u2026";
  }

  /* The whole picture as SVG: title, legend, chart, what it shows and where it comes from. */
  async function composed(kind) {
    const gd = graph(), width = kind.width || Math.max(gd.clientWidth + 2 * MARGIN, LEAST_PX);
    const title = words(".trial-title") || words("#headline");
    const svg = document.createElementNS(NS, "svg");
    put(svg, "title", {}, title);
    const paper = kind.clear ? null : put(svg, "rect", { x: 0, y: 0, width: width, fill: ink("--paper") });
    put(svg, "text", { x: MARGIN, y: MARGIN + TITLE_PX - 6, fill: ink("--text"), "font-size": 18, "font-weight": 600 },
      clipped(title, "600 18px " + FONT, width - 2 * MARGIN));
    const below = legend(svg, gd, width, MARGIN + TITLE_PX + LEGEND_PX - 4), top = below + 8;
    const height = kind.height ? kind.height - top - FOOT_PX - MARGIN : gd.clientHeight, across = width - 2 * MARGIN;
    const text = await window.Plotly.toImage(gd, { format: "svg", width: across, height: height, imageDataOnly: true });
    const chart = document.importNode(new DOMParser().parseFromString(text, "image/svg+xml").documentElement, true);
    Object.entries({ x: MARGIN, y: top, width: across, height: height }).forEach(function (one) { chart.setAttribute(one[0], one[1]); });
    chart.style.background = "none";
    const shown = chosen(svg, gd, MARGIN, top, across, height);
    svg.appendChild(chart);
    const all = kind.height || top + height + FOOT_PX + MARGIN, foot = { y: all - MARGIN, fill: ink("--muted"), "font-size": 12 };
    const facts = Array.from(document.querySelectorAll(".title-block > :not(.trial-title)")).map(function (n) { return n.textContent.trim(); });
    const source = ["Source: " + title, shown, "countercheck"].concat(facts).filter(Boolean).join(" \u00b7 ");
    const axis = gd.layout.meta.axis === "clock" ? "clock time in UTC" : "time from the start [h:mm:ss]";
    put(svg, "text", Object.assign({ x: MARGIN }, foot), clipped(source, "12px " + FONT, width - 2 * MARGIN - 200));
    put(svg, "text", Object.assign({ x: width - MARGIN, "text-anchor": "end" }, foot), axis);
    if (paper) paper.setAttribute("height", all);
    const size = { xmlns: NS, width: width, height: all, viewBox: "0 0 " + width + " " + all, "font-family": FONT };
    Object.keys(size).forEach(function (name) { svg.setAttribute(name, size[name]); });
    return { text: new XMLSerializer().serializeToString(svg), width: width, height: all };
  }

  /* ---- into a file */

  function painted(picture, kind) {
    return new Promise(function (done, failed) {
      const image = new Image(), address = URL.createObjectURL(new Blob([picture.text], { type: "image/svg+xml" }));
      image.onload = function () {
        const canvas = document.createElement("canvas");
        canvas.width = Math.round(picture.width * kind.scale);
        canvas.height = Math.round(picture.height * kind.scale);
        canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
        URL.revokeObjectURL(address);
        canvas.toBlob(function (blob) { if (blob) done(blob); else failed(new Error("no picture")); }, "image/png");
      };
      image.onerror = function () { URL.revokeObjectURL(address); failed(new Error("no picture")); };
      image.src = address;
    });
  }

  function fileName(kind, name) {
    const stem = (words(".trial-title") || "trial").toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 60);
    return "countercheck-" + (stem || "trial") + "-" + name + (kind.svg ? ".svg" : ".png");
  }

  function handed(blob, name) {
    const link = document.createElement("a"), address = URL.createObjectURL(blob);
    link.href = address;
    link.download = name;
    document.body.appendChild(link);
    link.click();
    link.remove();
    setTimeout(function () { URL.revokeObjectURL(address); }, 10000);
  }

  async function take(button) {
    const name = button.dataset.take, kind = KINDS[name];
    if (!kind || !graph() || button.disabled) return;
    button.disabled = true;
    const said = button.closest(".take").querySelector("[role=status]");
    try {
      const picture = await composed(kind);
      const blob = kind.svg ? new Blob([picture.text], { type: "image/svg+xml" }) : await painted(picture, kind);
      handed(blob, fileName(kind, name));
      said.textContent = "Saved to your downloads.";
    } catch (refused) {
      said.textContent = "This browser could not make the picture; try SVG, or another browser.";
    }
    button.disabled = false;
    setTimeout(function () { said.textContent = ""; }, SAID_MS);
  }

  document.addEventListener("click", function (event) {
    const button = event.target.closest && event.target.closest("button[data-take]");
    if (button) take(button);
  });
})();
