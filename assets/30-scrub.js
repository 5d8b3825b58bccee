/* The selection on the overlay: drag, edges, keyboard, blocks, table rows; the address; the values under the cursor.

   The interval lives in three places that this script keeps equal: the layer's data-from/data-to, the store
   "trial-window" (which the server's card follows) and the address. Times are seconds on the trial's clock. */
"use strict";
(function () {
  const LIVE_MS = 70; // between two updates of the card while dragging
  const PATIENCE_MS = 1500; // after this an unanswered update no longer holds the next one back
  const ADDRESS_MS = 400; // keyboard steps settle before the address follows: browsers limit how often it may change
  const CLICK_PX = 4; // a press that moves less than this is a click
  const BLOCKS_PX = 34; // the block strip at the layer's lower edge, with a finger's room above it
  const STEP_S = 1, LONG_STEP_S = 10, PAGE_STEP_S = 60;

  let layer = null, drag = null;
  let pending = null, sentAt = 0, waitingFor = null, timer = 0, addressTimer = 0;

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
    pending = [a, b];
    publish();
    if (done) settle();
  }

  /* One update under way at a time: the card is never behind by more than one, and nothing queues up. */
  function publish() {
    clearTimeout(timer);
    if (!pending) return;
    const now = performance.now();
    const held = waitingFor !== null && now - sentAt < PATIENCE_MS;
    const wait = held ? PATIENCE_MS - (now - sentAt) : LIVE_MS - (now - sentAt);
    if (wait > 0) { timer = setTimeout(publish, wait); return; }
    const w = pending;
    pending = null;
    sentAt = now;
    waitingFor = isWhole(w) ? "" : w[0].toFixed(3) + " " + w[1].toFixed(3);
    window.dash_clientside.set_props("trial-window", { data: isWhole(w) ? null : w });
  }

  function answered() {
    if (waitingFor === null) return;
    const card = document.querySelector("#interval-card [data-window]");
    const shown = card && card.dataset.window;
    const all = whole()[0].toFixed(3) + " " + whole()[1].toFixed(3);
    if (shown === (waitingFor || all)) { waitingFor = null; publish(); }
  }

  function settle() {
    markRows();
    clearTimeout(addressTimer);
    addressTimer = setTimeout(writeAddress, 0);
  }

  function writeAddress() {
    const address = new URL(window.location.href);
    const w = chosen();
    const text = function (t) { return Number.isInteger(t) ? t.toFixed(1) : String(Number(t.toFixed(3))); };
    if (isWhole(w)) { address.searchParams.delete("from"); address.searchParams.delete("to"); }
    else { address.searchParams.set("from", text(w[0])); address.searchParams.set("to", text(w[1])); }
    if (address.href === window.location.href) return;
    try { window.history.replaceState(window.history.state, "", address.href); } catch (tooOften) { addressTimer = setTimeout(writeAddress, 5000); }
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
    choose(isFrom ? to : w[0], isFrom ? w[1] : to, false);
    markRows();
    clearTimeout(addressTimer);
    addressTimer = setTimeout(writeAddress, ADDRESS_MS);
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

  /* ---- zoom: the buttons' clientside callback */

  function nextView(inClicks, outClicks, earlier, later, seen) {
    const context = window.dash_clientside.callback_context;
    const cause = context.triggered.length ? context.triggered[0].prop_id.split(".")[0] : "";
    if (!layer || !layer.isConnected || !context.triggered.length || !context.triggered[0].value) return window.dash_clientside.no_update;
    const all = whole(), now = seen || all, span = now[1] - now[0];
    if (cause === "zoom-whole") return null;
    if (cause === "zoom-interval") {
      const w = chosen();
      return isWhole(w) ? null : [w[0], w[1]];
    }
    const move = (cause === "view-earlier" ? -0.5 : 0.5) * span;
    const start = Math.min(Math.max(now[0] + move, all[0]), all[1] - span);
    return [start, start + span];
  }

  const functions = (window.dash_clientside = window.dash_clientside || {});
  functions.countercheck = Object.assign(functions.countercheck || {}, { view: nextView });
  // what other scripts may ask of the overlay: see 50-blocks.js
  window.countercheck = Object.assign(window.countercheck || {}, {
    overlay: { choose: choose, chosen: chosen, clock: clock, timeAt: timeAt, view: view, there: function () { return Boolean(layer && layer.isConnected); } },
  });

  /* ---- life: dash puts the layer in and takes it out as it likes */

  function bind() {
    const found = document.getElementById("scrub-layer");
    if (found && found !== layer) {
      layer = found;
      waitingFor = pending = drag = null;
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
      gd.on("plotly_afterplot", place);
      place();
    }
  }

  document.addEventListener("countercheck:filled", function () {
    if (!layer || !layer.isConnected) return;
    markRows();
    answered();
  });

  new MutationObserver(bind).observe(document.documentElement, { childList: true, subtree: true });
})();
