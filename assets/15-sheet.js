/* The set-up sheets: what stands in a form goes to its store as one piece; app/forms.py reads it.

   The owner's sheet on a trial's page comes anew with every result; it stays open and keeps the keyboard's place. */
"use strict";
(function () {
  let sent = 0;
  let working = null; // {button, words}: pressed and not answered yet
  let unfolded = false;

  function entries(form) {
    if (!form) return null;
    const found = { rows: {} };
    form.querySelectorAll("[data-part]").forEach(function (field) {
      const row = (found.rows[field.dataset.key] = found.rows[field.dataset.key] || {});
      row[field.dataset.part] = field.value;
    });
    new FormData(form).forEach(function (value, name) { found[name] = value; });
    if (form.querySelector("[data-plan-rows]")) {
      found.plan = Array.from(form.querySelectorAll("[data-plan-rows] [data-plan-row]")).map(function (row) {
        const step = {};
        row.querySelectorAll("[data-step]").forEach(function (field) { step[field.dataset.step] = field.value.trim(); });
        return step;
      });
    }
    return found;
  }

  document.addEventListener("submit", function (event) {
    const form = event.target.closest("form[data-sheet]");
    if (!form) return;
    event.preventDefault();
    if (working && working.button.isConnected) return;
    const all = entries(form);
    sent += 1; // the same entries sent again are a new request
    const button = form.querySelector("button[type=submit]");
    if (button && button.id === "edit-save") {
      working = { button: button, words: button.textContent };
      button.textContent = "Analysing again …";
      window.dash_clientside.set_props("edit-problem", { children: null });
    }
    window.dispatchEvent(new CustomEvent("countercheck:sent", { detail: { sheet: form.dataset.sheet, entries: all } }));
    window.dash_clientside.set_props(form.dataset.sheet + "-form", { data: Object.assign({ sent: sent }, all) });
  });

  function released() {
    if (!working) return;
    const problem = document.getElementById("edit-problem");
    if (!problem || !problem.textContent) return;
    working.button.textContent = working.words;
    working = null;
  }

  /* A new result is there: its sheet is another one. The address follows, for another reference starts another clock. */
  function renewed() {
    const panel = document.getElementById("owner-panel");
    if (panel && unfolded && !panel.open) panel.open = true;
    if (!working || working.button.isConnected) return;
    const button = document.getElementById("edit-save");
    if (!button) return;
    working = null;
    button.focus({ preventScroll: true });
    setTimeout(tellAddress, 0); // by then the overlay knows its new chart
  }

  function tellAddress() {
    const overlay = window.countercheck.overlay;
    if (overlay && overlay.there()) overlay.choose(overlay.chosen()[0], overlay.chosen()[1], true);
  }

  document.addEventListener("toggle", function (event) {
    if (event.target.id === "owner-panel") unfolded = event.target.open;
  }, true);
  document.addEventListener("countercheck:filled", renewed);
  new MutationObserver(released).observe(document.documentElement, { childList: true, subtree: true });

  window.countercheck = Object.assign(window.countercheck || {}, { entries: entries });
})();
