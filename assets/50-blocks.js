/* Blocks by hand: the chosen block's edges on the strip, the owner's form below the overlay, marks for every reader.

   The form's options hold the blocks as the server gave them; nothing is decided here. A change goes as one piece to the
   store "blocks-form", app/editing.py reads it, and the page comes back with new figures. */
"use strict";
(function () {
  const STEP_S = 1, LONG_STEP_S = 10;
  const SHORTEST_S = 5; // the server refuses shorter blocks; handles stop there
  const LOST_MS = 8000; // an answer that takes longer than this was lost on the way
  const SURE_MS = 6000; // how long a press that asks to be repeated is remembered

  let within = null; // a time inside the chosen block: blocks are numbered anew after a change, times stay
  let edges = null; // the chosen block's edges as they stand in handles and fields
  let drag = null, busy = 0, sent = 0, follow = false, worked = "", unfolded = false;

  const overlay = function () { return window.countercheck && window.countercheck.overlay; };
  const form = function () { return document.querySelector("form[data-blocks]"); };
  const choice = function () { return document.getElementById("block-choice"); };
  const strip = function (what) {
    const layer = document.getElementById("block-layer");
    return layer ? Array.from(layer.querySelectorAll(what)) : [];
  };
  const handles = function () { return strip(".block-edge"); };

  function option() {
    const list = choice();
    return list && list.selectedIndex >= 0 ? list.options[list.selectedIndex] : null;
  }

  function span(one) { return [Number(one.dataset.start), Number(one.dataset.end)]; }

  /* ---- the strip: marks and handles over it */

  function place() {
    const tools = overlay();
    if (!tools || !tools.there()) return;
    const seen = tools.view();
    const at = function (t) { return (100 * (t - seen[0])) / (seen[1] - seen[0]); };
    strip(".block-mark").forEach(function (mark) {
      const left = Math.max(at(Number(mark.dataset.start)), 0), right = Math.min(at(Number(mark.dataset.end)), 100);
      mark.hidden = right <= left;
      mark.style.left = left + "%";
      mark.style.width = Math.max(right - left, 0) + "%";
    });
    handles().forEach(function (handle, i) {
      const x = edges ? at(edges[i]) : -1;
      const outer = !edges || limits(i) === null;
      handle.hidden = outer || x < -0.01 || x > 100.01;
      if (handle.hidden) return;
      handle.style.left = x + "%";
      handle.setAttribute("aria-valuemin", String(limits(i)[0]));
      handle.setAttribute("aria-valuemax", String(limits(i)[1]));
      handle.setAttribute("aria-valuenow", String(edges[i]));
      handle.setAttribute("aria-valuetext", tools.clock(edges[i]));
    });
  }

  /* How far an edge may go: the blocks beside it keep their least length. Null for the trial's own start and end. */
  function limits(i) {
    const list = choice(), one = option();
    if (!one) return null;
    const beside = list.options[list.selectedIndex + (i ? 1 : -1)];
    if (!beside) return null;
    const own = span(one), other = span(beside);
    return i ? [edges[0] + SHORTEST_S, Math.max(other[1] - SHORTEST_S, own[1])]
      : [Math.min(other[0] + SHORTEST_S, own[0]), edges[1] - SHORTEST_S];
  }

  function moveTo(i, t) {
    const room = limits(i);
    if (!room) return;
    edges[i] = Math.min(Math.max(Math.round(t), room[0]), room[1]);
    field(i ? "new-end" : "new-start").value = overlay().clock(edges[i]);
    place();
  }

  function field(name) { return form().elements[name]; }

  /* ---- the form: what stands in it for the chosen block */

  function show(one) {
    if (!one || !overlay()) return;
    choice().value = one.value;
    edges = span(one);
    within = (edges[0] + edges[1]) / 2;
    field("new-start").value = overlay().clock(edges[0]);
    field("new-end").value = overlay().clock(edges[1]);
    field("split-at").value = "";
    field("name").value = one.dataset.name;
    field("kind").value = one.dataset.kind;
    const excluded = "excluded" in one.dataset, gap = one.dataset.kind === "gap";
    document.getElementById("blocks-exclude").hidden = excluded;
    document.getElementById("blocks-include").hidden = !excluded;
    document.getElementById("blocks-merge").disabled = choice().selectedIndex === choice().options.length - 1;
    field("kind").disabled = gap;
    place();
  }

  function holding(t) {
    return Array.from(choice().options).find(function (one) { return t >= span(one)[0] && t < span(one)[1]; });
  }

  function select(one) {
    show(one);
    overlay().choose(Number(one.dataset.from), Number(one.dataset.to), true);
  }

  function send(act) {
    if (busy && performance.now() - busy < LOST_MS) return;
    const data = { act: act, sent: (sent += 1) };
    new FormData(form()).forEach(function (value, name) { data[name] = value; });
    const one = option();
    if (one) {
      const interval = overlay().chosen();
      Object.assign(data, { start: one.dataset.start, end: one.dataset.end, from: String(interval[0]), to: String(interval[1]) });
      follow = Boolean(document.querySelector("tr[data-block='" + one.value + "'][aria-selected='true']"));
      within = act === "merge" || act === "split" ? Number(one.dataset.start) + 1 : (edges[0] + edges[1]) / 2;
    }
    busy = performance.now();
    worked = document.activeElement.id;
    say("Working …");
    window.dash_clientside.set_props("blocks-problem", { children: null });
    window.dash_clientside.set_props("blocks-form", { data: data });
  }

  function say(words) {
    const status = document.getElementById("blocks-status");
    if (status) status.textContent = words;
  }

  /* ---- pointer and keys */

  document.addEventListener("pointerdown", function (event) {
    const handle = event.target.closest && event.target.closest(".block-edge");
    if (!handle || event.button !== 0) return;
    drag = { i: handle.dataset.blockEdge === "end" ? 1 : 0, handle: handle, from: edges.slice() };
    handle.setPointerCapture(event.pointerId);
    handle.focus();
    event.preventDefault();
  });
  document.addEventListener("pointermove", function (event) {
    if (drag) moveTo(drag.i, overlay().timeAt(event.clientX));
  });
  document.addEventListener("pointerup", function () {
    if (!drag) return;
    const moved = edges[drag.i] !== drag.from[drag.i];
    drag = null;
    if (moved) send("move");
  });
  document.addEventListener("pointercancel", function () {
    if (!drag) return;
    drag = null;
    show(option());
  });

  document.addEventListener("keydown", function (event) {
    const handle = event.target.closest && event.target.closest(".block-edge");
    const typed = event.target.closest && event.target.closest("form[data-blocks] input");
    if (typed && event.key === "Enter") {
      event.preventDefault();
      const nearest = typed.closest(".tool");
      if (nearest) nearest.querySelector("[data-act]").click();
    }
    if (!handle || event.ctrlKey || event.metaKey || event.altKey) return;
    const i = handle.dataset.blockEdge === "end" ? 1 : 0;
    const step = event.shiftKey ? LONG_STEP_S : STEP_S;
    const steps = { ArrowLeft: -step, ArrowDown: -step, ArrowRight: step, ArrowUp: step };
    if (event.key in steps) moveTo(i, edges[i] + steps[event.key]);
    else if (event.key === "Enter") send("move");
    else if (event.key === "Escape") show(option());
    else return;
    event.preventDefault();
    event.stopPropagation(); // Escape elsewhere selects the whole trial
  }, true);

  document.addEventListener("submit", function (event) {
    if (event.target.closest("form[data-blocks]")) event.preventDefault();
  });

  document.addEventListener("click", function (event) {
    const button = event.target.closest("form[data-blocks] [data-act]");
    if (!button) return;
    if (button.dataset.sure && !button.dataset.asked) {
      const words = button.textContent;
      button.dataset.asked = "yes";
      button.textContent = button.dataset.sure;
      setTimeout(function () { delete button.dataset.asked; button.textContent = words; }, SURE_MS);
      return;
    }
    send(button.dataset.act);
  });

  document.addEventListener("toggle", function (event) {
    if (event.target.id === "blocks-panel") unfolded = event.target.open;
  }, true);

  document.addEventListener("change", function (event) {
    if (event.target.id === "block-choice") select(option());
  });

  /* ---- life: the form comes anew with every answer */

  function chosenRow() {
    const row = choice() && document.querySelector("tr[data-block][aria-selected='true']");
    const one = row && Array.from(choice().options).find(function (each) { return each.value === row.dataset.block; });
    if (one && one !== option()) show(one);
  }

  function filled() {
    const fresh = form();
    if (fresh && !fresh.dataset.known) {
      fresh.dataset.known = "yes";
      const panel = document.getElementById("blocks-panel");
      if (panel && unfolded) panel.open = true;
      busy = 0;
      const list = choice();
      const held = list && (within === null ? null : holding(within));
      if (held && follow) select(held);
      else if (list) show(held || list.options[0]);
      follow = false;
      chosenRow();
    }
    place();
    refocus();
  }

  /* The keyboard stays where it worked: what had the focus was drawn anew, hidden or is no longer to be pressed. */
  function refocus() {
    if (!worked || busy) return;
    const there = document.activeElement && document.activeElement !== document.body;
    const before = document.getElementById(worked);
    if (!there && before && before.hidden && before.matches(".block-edge")) return; // it comes back with the chart
    worked = "";
    if (there) return;
    const fit = before && !before.hidden && !before.disabled ? before : choice();
    if (fit) fit.focus({ preventScroll: true });
  }

  function answered() {
    const problem = document.getElementById("blocks-problem");
    if (busy && problem && problem.textContent) {
      busy = 0;
      say("");
      if (!drag) show(option());
    }
  }

  document.addEventListener("countercheck:filled", function (event) { if (event.detail !== "card") filled(); });
  document.addEventListener("countercheck:placed", function () { place(); refocus(); });
  document.addEventListener("countercheck:marked", chosenRow);
  new MutationObserver(answered).observe(document.documentElement, { childList: true, subtree: true });
})();
