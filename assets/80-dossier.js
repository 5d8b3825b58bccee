/* A dossier's forms: rows that come and go, and each form sent to its store as one piece; app/dossiers/ reads it.

   The page comes anew with every answer; folds that were open stay open. */
"use strict";
(function () {
  let sent = 0;
  let working = null; // {button, words}: pressed and not answered yet

  function row(box) {
    const found = {};
    box.querySelectorAll("[name]").forEach(function (field) {
      if (field.dataset.some) {
        found[field.name] = found[field.name] || [];
        if (field.checked) found[field.name].push(field.value);
      } else if (field.type === "checkbox") found[field.name] = field.checked ? field.value : "";
      else found[field.name] = field.value;
    });
    return found;
  }

  function send(data, button) {
    if (working && working.button.isConnected) return;
    sent += 1; // the same entries sent again are a new request
    if (button) {
      working = { button: button, words: button.textContent };
      button.textContent = "Working …";
    }
    window.dash_clientside.set_props("dossier-form", { data: Object.assign({ sent: sent }, data) });
  }

  function rowsOf(form) { return Array.from(form.querySelectorAll("[data-row]")).map(row); }

  document.addEventListener("submit", function (event) {
    const form = event.target.closest("form[data-dossier]");
    if (!form) return;
    event.preventDefault();
    const data = { part: form.dataset.part, act: form.dataset.act, seen: form.dataset.madeFor, rows: rowsOf(form) };
    if (form.dataset.dossier === "new") data.act = "new";
    send(data, form.querySelector("button[type=submit]"));
  });

  function addRow(form, values) {
    const blank = form.querySelector("template[data-blank]");
    const added = blank.content.firstElementChild.cloneNode(true);
    Object.entries(values || {}).forEach(function (entry) {
      const field = added.querySelector("[name='" + entry[0] + "']");
      if (field) field.value = entry[1];
    });
    form.querySelector(".rows").appendChild(added);
    const first = added.querySelector("input:not([type=hidden]), select, textarea");
    if (first) first.focus();
  }

  document.addEventListener("click", function (event) {
    const button = event.target.closest && event.target.closest("button");
    if (!button) return;
    const form = button.closest("form[data-dossier]");
    if (button.dataset.addRow && form) addRow(form);
    else if (button.dataset.removeRow && form) {
      const gone = button.closest("[data-row]");
      const next = gone.nextElementSibling || gone.previousElementSibling;
      gone.remove();
      const to = (next && next.querySelector("input:not([type=hidden])")) || form.querySelector("button[type=submit]");
      if (to) to.focus();
    } else if (button.dataset.act && button.closest(".dossier-editor")) {
      send({ act: button.dataset.act, seen: form ? form.dataset.madeFor : "", rows: [] }, button);
    }
  });

  document.addEventListener("change", function (event) {
    const choice = event.target;
    if (!choice.matches || !choice.matches("select[data-preset]") || !choice.value) return;
    addRow(choice.closest("form"), JSON.parse(choice.value));
    choice.value = "";
  });

  /* ---- folds that were open stay open; a button that was pressed gets its words back */

  const open = new Set();
  document.addEventListener("toggle", function (event) {
    const name = event.target.dataset && event.target.dataset.fold;
    if (!name || !event.target.isConnected) return;
    if (event.target.open) open.add(name); else open.delete(name);
  }, true);

  document.addEventListener("countercheck:filled", function () {
    document.querySelectorAll("details[data-fold]").forEach(function (fold) { if (open.has(fold.dataset.fold)) fold.open = true; });
  });

  new MutationObserver(function () {
    const said = document.getElementById("dossier-said");
    if (!working || !said || (working.button.isConnected && !said.textContent)) return;
    if (working.button.isConnected) working.button.textContent = working.words;
    working = null;
  }).observe(document.documentElement, { childList: true, subtree: true });
})();
