/* The selection on the overlay: drag, edges, keyboard, blocks, table rows; the address; the values under the cursor.

   The interval stands in the layer's data-from/data-to; 31-screen.js hands it to the server and to the address.
   Times are seconds on the trial's clock. */
"use strict";
(function () {
  const CLICK_PX = 4; // a press that moves less than this is a click
  const BLOCKS_PX = 34; // the block strip at the layer's lower edge, with a finger's room above it
  const STEP_S = 1, LONG_STEP_S = 10, PAGE_STEP_S = 60;

  let layer = null, drag = null;

  /* ---- where things are */

  function whole() { return [Number(layer.dataset.start), Number(layer.dataset.end)]; }
  function chosen() { return [Number(layer.dataset.from), Number(layer.dataset.to)]; }
  function isWhole(w) { return w[0] === whole()[0] && w[1] === whole()[1]; }
  function graph() { return document.querySelector("#overlay .js-plotly-plot"); }

  function view() {
    const gd = graph();
    const meta = gd && gd.layout && gd.layout.meta;
    return meta && meta.view ? meta.view : whole();
  }

  function timeAt(clientX) {
    const box = layer.getBoundingClientRect();
    const seen = view();
    const frac = Math.min(Math.max((clientX - box.left) / box.width, 0), 1);
    return seen[0] + frac * (seen[1] - seen[0]);
  }

  function snap(t) { return Math.min(Math.max(Math.round(t), whole()[0]), whole()[1]); }

  function clock(t) {
    const all = Math.round(Math.abs(t));
    const pad = function (n) { return String(n).padStart(2, "0"); };
    const hours = Math.floor(all / 3600), minutes = Math.floor(all / 60) % 60, seconds = all % 60;
    const sign = t < 0 && all ? "\u2212" : "";
    return sign + (hours ? hours + ":" + pad(minutes) : minutes) + ":" + pad(seconds);
  }

  /* ---- drawing the selection */

  function place() {
    if (!layer || !layer.isConnected) return;
    const seen = view(), w = chosen();
    const at = function (t) { return (100 * (t - seen[0])) / (seen[1] - seen[0]); };
    const left = Math.max(at(w[0]), 0), right = Math.min(at(w[1]), 100);
    const band = layer.querySelector(".scrub-band");
    band.hidden = isWhole(w) || right <= left || (left <= 0 && right >= 100);
    band.style.left = left + "%";
    band.style.width = Math.max(right - left, 0) + "%";
    layer.querySelectorAll(".scrub-handle").forEach(function (handle) {
      const t = handle.dataset.edge === "from" ? w[0] : w[1];
      const x = at(t);
      handle.style.left = Math.min(Math.max(x, 0), 100) + "%";
      handle.classList.toggle("off-view", x < -0.01 || x > 100.01);
      handle.setAttribute("aria-valuenow", String(t));
      handle.setAttribute("aria-valuetext", clock(t));
      const limits = handle.dataset.edge === "from" ? [whole()[0], w[1] - STEP_S] : [w[0] + STEP_S, whole()[1]];
      handle.setAttribute("aria-valuemin", String(limits[0]));
      handle.setAttribute("aria-valuemax", String(limits[1]));
    });
    document.dispatchEvent(new CustomEvent("countercheck:placed"));
  }

  function drawn() {
    place();
    window.countercheck.screen.drawn(view());
  }

  function markRows() {
    const w = chosen();
    document.querySelectorAll("tr[data-block]").forEach(function (row) {
      const same = Math.abs(row.dataset.from - w[0]) < 0.5 && Math.abs(row.dataset.to - w[1]) < 0.5;
      row.setAttribute("aria-selected", same ? "true" : "false");
    });
    document.dispatchEvent(new CustomEvent("countercheck:marked"));
  }

  /* ---- choosing an interval */

  function choose(from, to, done) {
    const a = Math.max(Math.min(from, to), whole()[0]), b = Math.min(Math.max(from, to), whole()[1]);
    if (!(b - a >= STEP_S)) return;
    layer.dataset.from = String(a);
    layer.dataset.to = String(b);
    place();
    told(true);
    if (done) settle();
  }

  function settle() {
    markRows();
    told(false);
  }

  /* The interval goes to the screen, which keeps store and address; the address waits for the end of a drag. */
  function told(live) {
    const w = chosen(), screen = window.countercheck.screen;
    screen[live ? "follow" : "set"]({ window: isWhole(w) ? null : w });
  }

  function chooseBlock(row) { choose(Number(row.dataset.from), Number(row.dataset.to), true); }

  function blockAt(t) {
    return Array.from(document.querySelectorAll("tr[data-block]")).find(function (row) {
      return t >= Number(row.dataset.start) && t < Number(row.dataset.end);
    });
  }

  /* ---- pointer */

  function onDown(event) {
    if (event.button !== 0) return;
    const handle = event.target.closest(".scrub-handle");
    const t = snap(timeAt(event.clientX));
    const w = chosen();
    const anchor = handle ? (handle.dataset.edge === "from" ? w[1] : w[0]) : t;
    drag = { anchor: anchor, x: event.clientX, moved: false, handle: handle, id: event.pointerId };
    layer.setPointerCapture(event.pointerId);
    if (handle) handle.focus();
    hideCursor();
    if (event.pointerType === "mouse") event.preventDefault();
  }

  function onMove(event) {
    if (!drag) return readOut(event);
    if (Math.abs(event.clientX - drag.x) >= CLICK_PX) drag.moved = true;
    if (drag.moved) choose(drag.anchor, snap(timeAt(event.clientX)), false);
  }

  function onUp(event) {
    if (!drag) return;
    const was = drag;
    drag = null;
    if (was.moved) return settle();
    const box = layer.getBoundingClientRect();
    const row = !was.handle && event.clientY > box.bottom - BLOCKS_PX ? blockAt(timeAt(event.clientX)) : null;
    if (row) chooseBlock(row);
  }

  /* ---- keyboard */

  function onHandleKey(event, handle) {
    const step = event.shiftKey ? LONG_STEP_S : STEP_S;
    const steps = {
      ArrowLeft: -step, ArrowDown: -step, ArrowRight: step, ArrowUp: step, PageDown: -PAGE_STEP_S, PageUp: PAGE_STEP_S,
    };
    const w = chosen(), isFrom = handle.dataset.edge === "from";
    const limits = isFrom ? [whole()[0], w[1] - STEP_S] : [w[0] + STEP_S, whole()[1]];
    let to = isFrom ? w[0] : w[1];
    if (event.key in steps) to += steps[event.key];
    else if (event.key === "Home") to = limits[0];
    else if (event.key === "End") to = limits[1];
    else return;
    event.preventDefault();
    to = Math.min(Math.max(to, limits[0]), limits[1]);
    choose(isFrom ? to : w[0], isFrom ? w[1] : to, true);
  }

  document.addEventListener("keydown", function (event) {
    if (!layer || !layer.isConnected || event.ctrlKey || event.metaKey || event.altKey) return;
    const handle = event.target.closest && event.target.closest(".scrub-handle");
    const row = event.target.closest && event.target.closest("tr[data-block]");
    const typing = event.target.closest && event.target.closest("input, textarea, select, [role='listbox']");
    if (event.key === "Escape" && !typing) { choose(whole()[0], whole()[1], true); drag = null; }
    else if (handle) onHandleKey(event, handle);
    else if (row && (event.key === "Enter" || event.key === " ")) { event.preventDefault(); chooseBlock(row); }
  });

  document.addEventListener("click", function (event) {
    const row = event.target.closest("tr[data-block]");
    if (row && layer && layer.isConnected) chooseBlock(row);
    const spot = event.target.closest("[data-place]");
    if (spot && layer && layer.isConnected) {
      chooseBlock(spot);
      layer.scrollIntoView({ block: "center" });
    }
    const copy = event.target.closest("[data-copy]");
    if (copy) copyText(copy);
  });

  function copyText(button) {
    const what = button.dataset.copy;
    const text = what === "address" ? window.location.href : new URL(what, window.location.href).href;
    const words = button.dataset.words || button.textContent;
    button.dataset.words = words;
    const say = function (answer) {
      button.textContent = answer;
      setTimeout(function () { button.textContent = words; }, 1800);
    };
    if (!navigator.clipboard) return say("Copy it from the address bar");
    navigator.clipboard.writeText(text).then(function () { say("Copied"); }, function () { say("Copy it from the address bar"); });
  }

  /* ---- the second under the cursor */

  function readOut(event) {
    const gd = graph();
    if (event.pointerType === "touch" || !gd || !gd._fullData) return;
    const t = timeAt(event.clientX), seen = view();
    const cursor = layer.querySelector(".scrub-cursor");
    cursor.hidden = false;
    cursor.style.left = (100 * (t - seen[0])) / (seen[1] - seen[0]) + "%";
    const values = {};
    gd._fullData.forEach(function (trace) {
      const meta = trace.meta;
      if (!meta || !meta.label || !trace.y) return;
      const value = trace.y[indexAt(trace, t)];
      const held = (values[meta.label] = values[meta.label] || {});
      if (Number.isFinite(value)) held[meta.kind] = value;
    });
    document.querySelectorAll("[data-readout]").forEach(function (place) { place.textContent = words(values[place.dataset.readout]); });
    const step = gd.layout.meta.step_s;
    document.getElementById("readout-clock").textContent = "at " + clock(t) + (step > 1 ? ", mean of " + step + " s" : "");
  }

  /* Bins come with start and step, samples with their own times (plotly fills x in for bins, too). */
  function indexAt(trace, t) {
    const x = trace.x;
    if (!x || !x.length) return Math.round((t - trace.x0) / trace.dx);
    let low = 0, high = x.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (x[middle] <= t) low = middle; else high = middle;
    }
    return t - x[low] <= x[high] - t ? low : high;
  }

  function words(held) {
    if (!held || held.power === undefined) return "\u2013";
    const watts = Math.round(held.power) + "\u202fW";
    if (held.difference === undefined) return watts;
    const sign = held.difference < 0 ? "\u2212" : "+";
    return watts + ", " + sign + Math.abs(held.difference).toFixed(1) + "\u202f%";
  }

  function hideCursor() {
    layer.querySelector(".scrub-cursor").hidden = true;
    document.querySelectorAll("[data-readout], #readout-clock").forEach(function (place) { place.textContent = ""; });
  }

  /* ---- zoom */

  function zoom(button) {
    const all = whole(), now = window.countercheck.screen.now().view || all, span = now[1] - now[0];
    if (button === "zoom-whole") return look(null);
    if (button === "zoom-interval") return isWhole(chosen()) ? null : look(chosen());
    const start = now[0] + (button === "view-earlier" ? -0.5 : 0.5) * span;
    const from = Math.min(Math.max(start, all[0]), all[1] - span);
    return look([from, from + span]);
  }

  /* The stretch to be drawn; the server draws it, and until then the chart stays as it is. */
  function look(stretch) { window.countercheck.screen.set({ view: stretch }); }

  document.addEventListener("click", function (event) {
    const button = event.target.closest("#zoom-interval, #zoom-whole, #view-earlier, #view-later");
    if (button && layer && layer.isConnected) zoom(button.id);
  });

  // what other scripts may ask of the overlay: see 50-blocks.js
  window.countercheck = Object.assign(window.countercheck || {}, {
    overlay: { choose: choose, chosen: chosen, clock: clock, look: look, timeAt: timeAt, view: view, there: function () { return Boolean(layer && layer.isConnected); } },
  });

  /* ---- life: dash puts the layer in and takes it out as it likes */

  function bind() {
    const found = document.getElementById("scrub-layer");
    if (found && found !== layer) {
      layer = found;
      drag = null;
      layer.addEventListener("pointerdown", onDown);
      layer.addEventListener("pointermove", onMove);
      layer.addEventListener("pointerup", onUp);
      layer.addEventListener("pointercancel", function () { if (drag) { drag = null; settle(); } });
      layer.addEventListener("pointerleave", function () { if (!drag) hideCursor(); });
      place();
      markRows();
    }
    const gd = layer && layer.isConnected ? graph() : null;
    if (gd && gd.on && !gd.dataset.followed) {
      gd.dataset.followed = "yes";
      gd.on("plotly_afterplot", drawn);
      drawn();
    }
  }

  document.addEventListener("countercheck:filled", function () {
    if (!layer || !layer.isConnected) return;
    markRows();
  });

  new MutationObserver(bind).observe(document.documentElement, { childList: true, subtree: true });
})();
