/* The selection on the overlay: drag, edges, keyboard, blocks, table rows.

   The interval stands in the layer's data-from/data-to; 31-screen.js hands it to the server and to the address.
   Times are seconds on the trial's clock. */
"use strict";
(function () {
  const CLICK_PX = 4, TAP_PX = 10; // a press that moves less than this is a click; a finger is less steady
  const TWICE_MS = 350, TWICE_PX = 30; // a second press this soon and this near makes it a double one
  const BLOCKS_PX = 34; // the block strip at the layer's lower edge, with a finger's room above it
  const STEP_S = 1, LONG_STEP_S = 10, PAGE_STEP_S = 60;
  const AFTER_BAR = 8; // the chart's margin right of the layer, where half a handle still fits

  let layer = null, drag = null, ahead = null, press = { at: -TWICE_MS, x: 0, y: 0 };
  let size = { width: 1, handle: 24 };

  /* ---- where things are */

  function whole() { return [Number(layer.dataset.start), Number(layer.dataset.end)]; }
  function chosen() { return [Number(layer.dataset.from), Number(layer.dataset.to)]; }
  function isWhole(w) { return w[0] === whole()[0] && w[1] === whole()[1]; }
  function graph() { return document.querySelector("#overlay .js-plotly-plot"); }

  /* The stretch that is seen: as drawn, or as the drawing is stretched to what is wanted: see 32-preview.js. */
  function view() {
    const gd = graph();
    const meta = gd && gd.layout && gd.layout.meta;
    return ahead || (meta && meta.view) || whole();
  }

  /* Measured once per size: asked at every step of a drag, it would have the browser lay out the page each time. */
  const sizes = new ResizeObserver(function () { if (layer.isConnected) { measure(); place(); } });
  function measure() {
    size = { width: layer.getBoundingClientRect().width, handle: layer.querySelector(".scrub-handle").offsetWidth };
  }
  function width() { return size.width; }

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
    apart();
    document.dispatchEvent(new CustomEvent("countercheck:placed"));
  }

  /* Two handles never cover each other, nor leave the chart: each gives way, its grip stays at its edge. */
  function apart() {
    const all = Array.from(layer.querySelectorAll(".scrub-handle"));
    const at = all.map(function (handle) { return (parseFloat(handle.style.left) / 100) * size.width; });
    const half = size.handle / 2, most = size.width + AFTER_BAR - half;
    let first = Math.min(at[0], most), second = Math.min(at[1], most);
    const over = 2 * half - (second - first);
    if (over > 0) { first = Math.min(first - over / 2, most - 2 * half); second = first + 2 * half; }
    [first, second].forEach(function (x, i) { all[i].style.setProperty("--aside", (x - at[i]).toFixed(1) + "px"); });
  }

  function drawn() {
    const meta = graph().layout.meta;
    ahead = null;
    if (meta) window.countercheck.screen.drawn(isWhole(meta.view) ? null : meta.view);
    document.dispatchEvent(new CustomEvent("countercheck:drawn"));
    place();
  }

  function markRows() {
    const w = chosen();
    document.querySelectorAll("tr[data-block]").forEach(function (row) {
      const same = Math.abs(row.dataset.from - w[0]) < 0.5 && Math.abs(row.dataset.to - w[1]) < 0.5;
      const told = same ? "true" : "false";
      if (row.getAttribute("aria-selected") !== told) row.setAttribute("aria-selected", told);
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
    if (!handle) layer.parentElement.focus({ preventScroll: true }); // the keys follow the pointer
    if (event.shiftKey && !handle) return startPan(event);
    const t = snap(timeAt(event.clientX));
    const w = chosen();
    const anchor = handle ? (handle.dataset.edge === "from" ? w[1] : w[0]) : t;
    drag = { anchor: anchor, x: event.clientX, moved: false, handle: handle, id: event.pointerId, before: w };
    layer.setPointerCapture(event.pointerId);
    if (handle) handle.focus({ preventScroll: true });
    window.countercheck.readout.hide();
    if (event.pointerType === "mouse") event.preventDefault();
  }

  function onMove(event) {
    if (!drag) return event.pointerType === "touch" ? null : window.countercheck.readout.read(event);
    if (event.pointerId !== drag.id) return;
    if (drag.pan) return slideBy(event);
    if (Math.abs(event.clientX - drag.x) >= (event.pointerType === "touch" ? TAP_PX : CLICK_PX)) drag.moved = true;
    if (drag.moved) choose(drag.anchor, snap(timeAt(event.clientX)), false);
  }

  function onUp(event) {
    if (!drag || event.pointerId !== drag.id) return;
    const was = drag;
    drag = null;
    if (was.pan) return window.countercheck.view.pan(0);
    if (was.moved) return settle();
    const twice = pressedTwice(event), row = rowUnder(event);
    if (row && twice) return window.countercheck.view.toInterval();
    if (row) return chooseBlock(row);
    if (twice) return window.countercheck.view.look(null);
    if (event.pointerType === "touch" && !was.handle) window.countercheck.readout.read(event); // a finger cannot hover
  }

  function rowUnder(event) {
    const box = layer.getBoundingClientRect();
    return event.clientY > box.bottom - BLOCKS_PX ? blockAt(timeAt(event.clientX)) : null;
  }

  function pressedTwice(event) {
    const near = Math.hypot(event.clientX - press.x, event.clientY - press.y) < TWICE_PX;
    const twice = near && event.timeStamp - press.at < TWICE_MS;
    press = { at: twice ? -TWICE_MS : event.timeStamp, x: event.clientX, y: event.clientY };
    return twice;
  }

  /* A drag that turns out to be something else, such as the page being scrolled, leaves the interval as it was. */
  function giveUp() {
    const was = drag;
    drag = null;
    if (was && was.moved) choose(was.before[0], was.before[1], true);
  }

  function startPan(event) {
    drag = { pan: true, x: event.clientX, id: event.pointerId };
    layer.setPointerCapture(event.pointerId);
    event.preventDefault();
  }

  function slideBy(event) {
    const seen = view(), by_s = ((drag.x - event.clientX) / width()) * (seen[1] - seen[0]);
    drag.x = event.clientX;
    window.countercheck.view.pan(by_s, true);
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
    window.countercheck.readout.at(to);
  }

  document.addEventListener("keydown", function (event) {
    if (!layer || !layer.isConnected || event.ctrlKey || event.metaKey || event.altKey) return;
    const handle = event.target.closest && event.target.closest(".scrub-handle");
    const row = event.target.closest && event.target.closest("tr[data-block]");
    const typing = event.target.closest && event.target.closest("input, textarea, select, [role='listbox']");
    if (event.key === "Escape" && drag && drag.moved) giveUp();
    else if (event.key === "Escape" && !typing) { choose(whole()[0], whole()[1], true); drag = null; }
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
    const byHand = function () { say(what === "address" ? "Copy it from the address bar" : marked(text)); };
    if (!navigator.clipboard) return byHand();
    navigator.clipboard.writeText(text).then(function () { say("Copied"); }, byHand);
  }

  /* Where the browser keeps its clipboard to itself: the address is marked where it stands, for the reader's own keys. */
  function marked(text) {
    const spot = Array.from(document.querySelectorAll(".owner-path")).find(function (one) { return one.textContent === text; });
    if (!spot) return "Not copied";
    window.getSelection().selectAllChildren(spot);
    return "Marked: copy it by hand";
  }

  // what other scripts may ask of the overlay: see 30-touch.js, 32-preview.js, 32-view.js, 33-readout.js, 40-clocks.js
  window.countercheck = Object.assign(window.countercheck || {}, {
    overlay: {
      choose: choose, chosen: chosen, clock: clock, graph: graph, isWhole: isWhole, timeAt: timeAt, view: view, whole: whole,
      width: width, there: function () { return Boolean(layer && layer.isConnected); },
      giveUp: giveUp,
      ahead: function (wanted) { ahead = wanted; place(); }, // the stretch that the drawing is stretched to; null: as drawn
    },
  });

  /* ---- life: dash puts the layer in and takes it out as it likes */

  function bind() {
    const found = document.getElementById("scrub-layer");
    if (found && found !== layer) {
      layer = found;
      drag = null;
      sizes.disconnect();
      sizes.observe(layer);
      measure();
      layer.addEventListener("pointerdown", onDown);
      layer.addEventListener("pointermove", onMove);
      layer.addEventListener("pointerup", onUp);
      layer.addEventListener("pointercancel", giveUp);
      layer.addEventListener("pointerleave", function (event) {
        if (!drag && event.pointerType !== "touch") window.countercheck.readout.hide(); // what a finger asked for stays
      });
      layer.addEventListener("focusout", function () { window.countercheck.readout.hide(); });
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

  document.addEventListener("countercheck:filled", function (event) {
    if (event.detail !== "card" && layer && layer.isConnected) markRows();
  });

  new MutationObserver(bind).observe(document.documentElement, { childList: true, subtree: true });
})();
