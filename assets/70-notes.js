/* Notes: their numbers over the chart, the list's buttons, the owner's form. Nothing is decided here: app/noting.py is asked.

   Texts are only ever put into a field's value or shown as the server has escaped them. */
"use strict";
(function () {
  const CLOSE_PX = 25; // marks nearer than this are put below one another, and from the fifth on beside those
  const ROWS = 4, ROW_PX = 22;
  const AFTER_BAR = 8; // the chart's margin right of the layer
  const SURE_MS = 6000; // how long a press that asks to be repeated is remembered
  let editing = null; // {note, version} of the note in the form; null for a new one
  let sent = 0, waiting = false;

  const overlay = function () { return window.countercheck && window.countercheck.overlay; };
  const form = function () { return document.querySelector("form[data-notes]"); };
  const at = function (id) { return document.getElementById(id); };

  function place() {
    const tools = overlay(), layer = at("note-layer");
    if (!layer || !tools || !tools.there()) return;
    const seen = tools.view(), width = tools.width(), ends = [];
    const frac = function (t) { return (t - seen[0]) / (seen[1] - seen[0]); };
    layer.querySelectorAll("[data-from]").forEach(function (mark) {
      const from = frac(Number(mark.dataset.from)), to = frac(Number(mark.dataset.to));
      mark.hidden = to <= 0 || from >= 1;
      if (mark.hidden) return;
      const left = Math.max(from, 0);
      mark.style.left = 100 * left + "%";
      if (mark.matches(".note-span")) { mark.style.width = 100 * (Math.min(to, 1) - left) + "%"; return; }
      const spot = free(Math.min(left * width, width + AFTER_BAR - CLOSE_PX), ends, width);
      mark.style.left = spot.x + "px";
      mark.style.top = spot.row * ROW_PX + "px";
    });
  }

  /* Where a mark covers no other one; `ends` holds the last mark of each row. */
  function free(x, ends, width) {
    let row = ends.findIndex(function (end) { return x >= end + CLOSE_PX; });
    if (row < 0 && ends.length >= ROWS) {
      const least = Math.min.apply(null, ends);
      if (least + 2 * CLOSE_PX <= width + AFTER_BAR) { row = ends.indexOf(least); x = least + CLOSE_PX; }
    }
    if (row < 0) row = ends.length;
    ends[row] = x;
    return { x: x, row: row };
  }

  function stretch() {
    const words = at("note-stretch"), tools = overlay();
    if (!words || !tools || !tools.there()) return;
    const w = tools.chosen(), layer = at("scrub-layer");
    const whole = w[0] === Number(layer.dataset.start) && w[1] === Number(layer.dataset.end);
    const said = whole ? "the interval (none is selected, so to the whole trial)" : tools.clock(w[0]) + "\u2013" + tools.clock(w[1]);
    if (words.textContent !== said) words.textContent = said;
    words.dataset.whole = whole ? "yes" : "";
  }

  function count() {
    const area = at("note-text");
    if (area) at("note-count").textContent = area.value.length + " of " + area.maxLength;
  }

  function go(from, to, item) {
    overlay().choose(from, to, true);
    if (item) at("scrub-layer").scrollIntoView({ block: "center" });
  }

  function fill(note) {
    editing = note;
    at("note-form-name").textContent = note ? "Change the note" : "New note";
    at("note-save").textContent = note ? "Keep the change" : "Pin the note";
    at("note-cancel").hidden = !note;
    count();
    stretch();
  }

  function edit(item) {
    at("note-text").value = item.querySelector(".note-text").textContent;
    const when = item.querySelector("[data-note-go]");
    at("note-pinned").checked = Boolean(when);
    if (when) overlay().choose(Number(when.dataset.from), Number(when.dataset.to), true);
    fill({ note: item.dataset.note, version: item.dataset.version });
    at("note-text").focus();
  }

  function ask(data) {
    if (waiting) return;
    sent += 1;
    waiting = true;
    at("note-said").textContent = "Working …";
    window.dash_clientside.set_props("notes-problem", { children: null });
    window.dash_clientside.set_props("notes-form", { data: Object.assign({ sent: sent }, data) });
  }

  function remove(button, item) {
    if (!button.dataset.asked) {
      const words = button.textContent;
      button.dataset.asked = "yes";
      button.textContent = "Press again to remove";
      setTimeout(function () { delete button.dataset.asked; button.textContent = words; }, SURE_MS);
      return;
    }
    ask({ act: "remove", note: item.dataset.note, seen: item.dataset.version });
  }

  document.addEventListener("submit", function (event) {
    if (!event.target.matches || !event.target.matches("form[data-notes]")) return;
    event.preventDefault();
    const data = { act: editing ? "change" : "pin", text: at("note-text").value };
    if (editing) Object.assign(data, { note: editing.note, seen: editing.version });
    if (at("note-pinned").checked && !at("note-stretch").dataset.whole) {
      const w = overlay().chosen();
      Object.assign(data, { from: w[0], to: w[1] });
    }
    ask(data);
  });

  document.addEventListener("click", function (event) {
    const target = event.target.closest ? event.target : null;
    const mark = target && target.closest("[data-note-mark]");
    const jump = target && target.closest("[data-note-go]");
    const tool = target && target.closest("[data-note-act]");
    if (mark) {
      go(Number(mark.dataset.from), Number(mark.dataset.to));
      at("note-" + mark.dataset.noteMark).focus({ preventScroll: true });
    } else if (jump) go(Number(jump.dataset.from), Number(jump.dataset.to), jump.closest("li"));
    else if (tool && tool.dataset.noteAct === "edit") edit(tool.closest("li"));
    else if (tool) remove(tool, tool.closest("li"));
    else if (target && target.id === "note-cancel") { form().reset(); fill(null); at("note-text").focus(); }
  });

  document.addEventListener("input", function (event) { if (event.target.id === "note-text") count(); });

  /* The server's answer is a new list with a new, empty form; a refusal leaves the form as it is. */
  function renewed() {
    const fresh = form();
    if (fresh && !fresh.dataset.known) {
      fresh.dataset.known = "yes";
      editing = null;
      if (waiting) { at("note-said").textContent = "Done."; at("note-text").focus({ preventScroll: true }); }
      waiting = false;
    }
    place();
    stretch();
  }

  function refused() {
    const problem = at("notes-problem");
    if (!waiting || !problem || !problem.textContent) return;
    waiting = false;
    at("note-said").textContent = "";
  }

  document.addEventListener("countercheck:filled", function (event) { if (event.detail !== "card") renewed(); });
  document.addEventListener("countercheck:placed", function () { place(); stretch(); });
  new MutationObserver(refused).observe(document.documentElement, { childList: true, subtree: true });
})();
