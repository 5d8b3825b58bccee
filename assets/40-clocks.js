/* Clocks by hand: a line moves at once in the browser, the server draws the same a moment later, "keep" has it analysed.

   What is wanted is held per device as an absolute shift in seconds, rounded as it is shown. */
"use strict";
(function () {
  const DIGITS = 2; // hundredths of a second are finer than any clock can be set by eye
  const AROUND_S = 20; // room on either side of the sharpest change

  const LOST_MS = 8000; // an answer that takes longer than this was lost on the way

  let wanted = {}, sent = 0, busy = 0, worked = "", unfolded = null;
  let version = null; // of the set-up that the rows show

  function hands() { return document.getElementById("clock-hands"); }
  function rows() { const panel = hands(); return panel ? Array.from(panel.querySelectorAll("[data-clock]")) : []; }
  function rowOf(label) { return rows().find(function (row) { return row.dataset.clock === label; }); }
  function graph() { return document.querySelector("#overlay .js-plotly-plot"); }
  function rounded(value) { return Number(value.toFixed(DIGITS)); }
  function told(value, digits) {
    const text = Math.abs(value).toFixed(digits);
    return (Number(text) === 0 ? "" : value < 0 ? "\u2212" : "+") + text;
  }

  /* ---- what is wanted */

  function by() {
    const moved = {};
    Object.keys(wanted).forEach(function (label) {
      const row = rowOf(label);
      if (row) moved[label] = wanted[label] - Number(row.dataset.shift);
    });
    return moved;
  }

  function want(row, value, writeField) {
    wanted[row.dataset.clock] = rounded(value);
    if (writeField) field(row).value = told(wanted[row.dataset.clock], DIGITS);
    field(row).removeAttribute("aria-invalid");
    changed();
  }

  function forget() {
    wanted = {};
    rows().forEach(function (row) {
      field(row).value = told(Number(row.dataset.shift), DIGITS);
      field(row).removeAttribute("aria-invalid");
    });
    changed();
  }

  function changed() {
    const labels = Object.keys(wanted);
    move();
    const words = labels.map(function (label) { return label + " at " + told(wanted[label], DIGITS) + "\u202fs"; }).join(", ");
    say(words ? "Provisional, not kept: " + words + "." : "Nothing is moved.");
    const box = document.querySelector(".chart-box");
    if (box) { if (words) box.dataset.provisional = "Provisional: " + words; else delete box.dataset.provisional; }
    ["hands-keep", "hands-drop"].forEach(function (id) {
      const button = document.getElementById(id);
      if (button) button.disabled = !labels.length;
    });
    window.dash_clientside.set_props("trial-nudge", { data: labels.length ? by() : null });
  }

  function say(text) {
    const place = document.getElementById("hands-said");
    if (place) place.textContent = text;
  }

  function field(row) { return row.querySelector("[data-clock-typed]"); }

  function typed(input) {
    const row = input.closest("[data-clock]");
    const text = input.value.trim().replace(",", ".").replace("\u2212", "-");
    const value = text === "" ? NaN : Number(text);
    if (Number.isFinite(value)) return want(row, value, false);
    delete wanted[row.dataset.clock];
    changed();
    input.setAttribute("aria-invalid", "true");
    say("The shift of " + row.dataset.clock + " must be a number of seconds, such as \u22127.5.");
  }

  /* ---- the overlay: the line moves at once, by what the server's drawing does not hold yet */

  function move() {
    const gd = graph();
    if (!gd || !gd._fullData || !gd.layout || !gd.layout.meta || !gd.layout.meta.view) return;
    const view = gd.layout.meta.view, drawn = gd.layout.meta.moved || {}, now = by();
    const layer = document.getElementById("scrub-layer");
    const perSecond = layer ? layer.getBoundingClientRect().width / (view[1] - view[0]) : 0;
    gd._fullData.forEach(function (trace) {
      if (!trace.meta || !trace.meta.label || trace.meta.kind === "difference") return;
      const group = gd.querySelector(".scatterlayer .trace" + trace.uid);
      if (!group) return;
      const left = ((now[trace.meta.label] || 0) - (drawn[trace.meta.label] || 0)) * perSecond;
      group.style.transform = Math.abs(left) > 0.01 ? "translateX(" + left + "px)" : "";
    });
  }

  function look(row) {
    const from = Number(row.dataset.showStart), to = Number(row.dataset.showEnd);
    if (!(to > from)) return;
    window.countercheck.view.look([from - AROUND_S, to + AROUND_S]);
    const chart = document.querySelector(".chart-box");
    const top = chart ? chart.getBoundingClientRect().top : 0;
    if (chart && (top < 0 || top > window.innerHeight / 3)) chart.scrollIntoView({ block: "start" });
  }

  /* ---- keep, undo, automatic */

  function seen() { // the version of the set-up on the screen
    const field = document.querySelector("#owner-panel [name=seen]");
    return field ? field.value : "";
  }

  function send(shifts) {
    if (busy && performance.now() - busy < LOST_MS) return;
    sent += 1;
    busy = performance.now();
    worked = document.activeElement ? document.activeElement.id : "";
    say("Analysing again …");
    window.dash_clientside.set_props("hands-problem", { children: null });
    window.dash_clientside.set_props("hands-form", { data: { sent: sent, shifts: shifts, seen: seen() } });
  }

  function keep() {
    const shifts = {};
    Object.keys(wanted).forEach(function (label) {
      const row = rowOf(label);
      if (row) shifts[row.dataset.file] = wanted[label];
    });
    if (Object.keys(shifts).length) send(shifts);
  }

  document.addEventListener("click", function (event) {
    const button = event.target.closest && event.target.closest("button");
    if (!button || !hands()) return;
    if (button.id === "hands-keep") return keep();
    if (button.id === "hands-drop") return forget();
    if (button.dataset.clockUse !== undefined) {
      const used = rowOf(button.dataset.clockUse);
      if (!used) return;
      hands().open = true;
      want(used, Number(button.dataset.value), true);
      return look(used);
    }
    const row = button.closest("[data-clock]");
    if (!row) return;
    if (button.dataset.clockLook !== undefined) return look(row);
    if (button.dataset.clockAutomatic !== undefined) return send({ [row.dataset.file]: null });
    if (button.dataset.clockStep !== undefined) {
      const now = row.dataset.clock in wanted ? wanted[row.dataset.clock] : rounded(Number(row.dataset.shift));
      want(row, now + Number(button.dataset.clockStep), true);
    }
  });

  document.addEventListener("input", function (event) {
    if (event.target.matches && event.target.matches("[data-clock-typed]")) typed(event.target);
  });

  document.addEventListener("keydown", function (event) {
    const input = event.target.closest && event.target.closest("[data-clock-typed]");
    if (!input) return;
    const steps = { ArrowUp: 0.1, ArrowDown: -0.1, PageUp: 1, PageDown: -1 };
    const row = input.closest("[data-clock]");
    if (event.key === "Enter") { event.preventDefault(); keep(); }
    else if (event.key in steps) {
      event.preventDefault();
      const label = row.dataset.clock;
      want(row, (label in wanted ? wanted[label] : rounded(Number(row.dataset.shift))) + steps[event.key], true);
    }
  });

  /* ---- life: the rows come anew with every result, and the panel stays as it was */

  function filled() {
    if (!hands() || !rows().length) return;
    if (unfolded !== null) hands().open = unfolded;
    if (version === seen()) return;
    version = seen();
    busy = 0;
    if (Object.keys(wanted).length) forget();
    const held = document.activeElement && document.activeElement !== document.body;
    const place = worked && !held && (document.getElementById(worked) || hands().querySelector("summary"));
    worked = "";
    if (place) (place.disabled ? hands().querySelector("summary") : place).focus({ preventScroll: true });
  }

  function bind() {
    const gd = graph();
    if (gd && gd.on && !gd.dataset.nudged) {
      gd.dataset.nudged = "yes";
      gd.on("plotly_afterplot", move);
    }
    const problem = document.getElementById("hands-problem");
    if (busy && problem && problem.textContent) { busy = 0; changed(); }
  }

  document.addEventListener("toggle", function (event) {
    if (event.target.id === "clock-hands") unfolded = event.target.open;
  }, true);
  document.addEventListener("countercheck:filled", filled);
  new MutationObserver(bind).observe(document.documentElement, { childList: true, subtree: true });
})();
