/* The stretch in view: zoom, pan, full screen, blocks and sprints to go to; by button, key and wheel.

   What is wanted goes to the screen at once, the server draws it, and until then 32-preview.js stretches what is drawn.
   Times are seconds on the trial's clock. */
"use strict";
(function () {
  const LEAST_S = 20; // as analysis/figures/overlay.py: closer there is nothing between two seconds to see
  const ZOOM = 2, PAN_FRAC = 0.5, STEP_FRAC = 0.1;
  const WHEEL = 0.002; // per pixel of the wheel: a notch of a hundred is a fifth
  const EDGE_S = 1;

  const tools = function () { return window.countercheck.overlay; };
  const screen = function () { return window.countercheck.screen; };
  const box = function () { return document.getElementById("chart-box"); };
  const there = function () { return Boolean(tools() && tools().there()); };

  /* ---- what is wanted */

  function wanted() { return screen().now().view || tools().whole(); }

  function inside(start, span) {
    const all = tools().whole(), most = all[1] - all[0];
    span = Math.min(Math.max(span, Math.min(LEAST_S, most)), most);
    const from = Math.min(Math.max(start, all[0]), all[1] - span);
    return span >= most ? null : [Math.round(from * 1000) / 1000, Math.round((from + span) * 1000) / 1000];
  }

  function look(view, live) {
    screen()[live ? "follow" : "set"]({ view: view });
  }

  function zoom(factor, about) {
    const now = wanted(), span = now[1] - now[0], all = tools().whole();
    const size = Math.min(Math.max(span * factor, LEAST_S), all[1] - all[0]);
    const middle = about === undefined ? (now[0] + now[1]) / 2 : about;
    look(inside(middle - (middle - now[0]) * (size / span), size));
  }

  function pan(by_s, live) {
    const now = wanted();
    look(inside(now[0] + by_s, now[1] - now[0]), live);
  }

  function panBy(frac) { const now = wanted(); pan(frac * (now[1] - now[0])); }

  function toInterval() {
    const w = tools().chosen();
    if (!tools().isWhole(w)) look(inside(w[0], w[1] - w[0]));
  }

  /* ---- blocks, sprints, the interval's width */

  function blocks() { return Array.from(document.querySelectorAll("tr[data-block]")); }

  function step(by) {
    const all = blocks(), w = tools().chosen(), middle = (w[0] + w[1]) / 2;
    if (!all.length) return;
    const at = tools().isWhole(w) ? (by > 0 ? -1 : all.length)
      : all.findIndex(function (row) { return middle >= Number(row.dataset.start) && middle < Number(row.dataset.end); });
    const row = all[Math.min(Math.max(at + by, 0), all.length - 1)];
    tools().choose(Number(row.dataset.from), Number(row.dataset.to), true);
    const now = wanted(), from = Number(row.dataset.start), to = Number(row.dataset.end);
    if (from < now[0] || to > now[1]) look(inside((from + to) / 2 - (now[1] - now[0]) / 2, now[1] - now[0]));
  }

  function widen(by) {
    const w = tools().chosen();
    if (!tools().isWhole(w)) tools().choose(w[0] - by, w[1] + by, true);
  }

  function sprint(button) {
    tools().choose(Number(button.dataset.from), Number(button.dataset.to), true);
    const from = Number(button.dataset.viewFrom), to = Number(button.dataset.viewTo);
    screen().set({ mean_s: null });
    look(inside(from, to - from));
  }

  /* ---- full screen, or as much of the window as there is where a browser has none */

  function figure() { return document.querySelector("figure.overlay"); }

  function fullScreen() {
    const whole = figure();
    if (document.fullscreenElement) return document.exitFullscreen();
    if (whole.classList.contains("filling")) return fill(false);
    if (!whole.requestFullscreen) return fill(true);
    return whole.requestFullscreen().catch(function () { fill(true); });
  }

  function fill(on) {
    figure().classList.toggle("filling", on);
    told();
  }

  function told() {
    const button = document.getElementById("full-screen"), whole = figure();
    const on = Boolean(document.fullscreenElement) || Boolean(whole && whole.classList.contains("filling"));
    if (button) button.setAttribute("aria-pressed", String(on));
    document.documentElement.classList.toggle("behind", Boolean(whole && whole.classList.contains("filling")));
    window.dispatchEvent(new Event("resize")); // the chart measures itself anew
  }

  document.addEventListener("fullscreenchange", told);

  /* ---- buttons, keys, wheel */

  const ACTS = {
    "zoom-closer": function () { zoom(1 / ZOOM); },
    "zoom-wider": function () { zoom(ZOOM); },
    "zoom-interval": toInterval,
    "zoom-whole": function () { look(null); },
    "view-earlier": function () { panBy(-PAN_FRAC); },
    "view-later": function () { panBy(PAN_FRAC); },
    "block-before": function () { step(-1); },
    "block-next": function () { step(1); },
    "interval-narrower": function () { widen(-EDGE_S); },
    "interval-wider": function () { widen(EDGE_S); },
    "full-screen": fullScreen,
  };
  const KEYS = {
    "[": "block-before", "]": "block-next", "+": "zoom-closer", "=": "zoom-closer", "-": "zoom-wider", "\u2212": "zoom-wider",
    "0": "zoom-whole", "<": "interval-narrower", ">": "interval-wider", f: "full-screen",
  };
  const CHART_KEYS = { // where an arrow or Enter belongs to nothing else
    ArrowLeft: function () { panBy(-STEP_FRAC); }, ArrowRight: function () { panBy(STEP_FRAC); }, Enter: toInterval,
  };

  document.addEventListener("click", function (event) {
    if (!there()) return;
    const button = event.target.closest("figure.overlay button");
    if (!button) return;
    if (button.dataset.sprint !== undefined) sprint(button);
    else if (ACTS[button.id]) ACTS[button.id]();
  });

  document.addEventListener("keydown", function (event) {
    const near = event.target.closest && event.target.closest("figure.overlay");
    if (!near || !there() || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.closest("input, select, textarea")) return;
    if (event.key === "Escape" && near.classList.contains("filling")) {
      event.stopPropagation(); // Escape elsewhere selects the whole trial
      return fill(false);
    }
    const act = ACTS[KEYS[event.key]] || (event.target === box() ? CHART_KEYS[event.key] : null);
    if (!act) return;
    event.preventDefault();
    act();
  }, true);

  /* With ctrl, or spread on a touchpad, it zooms; sideways it pans what is zoomed; otherwise the page scrolls. */
  document.addEventListener("wheel", function (event) {
    const layer = event.target.closest && event.target.closest("#scrub-layer");
    if (!layer || !there()) return;
    const sideways = Math.abs(event.deltaX) > Math.abs(event.deltaY) && screen().now().view !== null;
    if (event.ctrlKey || event.metaKey) {
      zoom(Math.exp(WHEEL * Math.max(Math.min(event.deltaY, 200), -200)), tools().timeAt(event.clientX));
    } else if (sideways) {
      const now = wanted();
      pan((event.deltaX / tools().width()) * (now[1] - now[0]));
    } else return;
    event.preventDefault();
  }, { passive: false });

  // what other scripts may ask of the view
  window.countercheck = Object.assign(window.countercheck || {}, {
    view: {
      look: function (view) { look(view && inside(view[0], view[1] - view[0])); },
      fit: function (from_s, span_s, live) { look(inside(from_s, span_s), live); },
      pan: pan, toInterval: toInterval,
    },
  });
})();
