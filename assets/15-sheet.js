/* The set-up sheets: what stands in a form goes to its store as one piece; app/forms.py reads it. */
"use strict";
(function () {
  let sent = 0;

  function entries(form) {
    if (!form) return null;
    const found = { rows: {} };
    form.querySelectorAll("[data-part]").forEach(function (field) {
      const row = (found.rows[field.dataset.key] = found.rows[field.dataset.key] || {});
      row[field.dataset.part] = field.value;
    });
    new FormData(form).forEach(function (value, name) { found[name] = value; });
    return found;
  }

  document.addEventListener("submit", function (event) {
    const form = event.target.closest("form[data-sheet]");
    if (!form) return;
    event.preventDefault();
    const all = entries(form);
    sent += 1; // the same entries sent again are a new request
    window.dispatchEvent(new CustomEvent("countercheck:sent", { detail: { sheet: form.dataset.sheet, entries: all } }));
    window.dash_clientside.set_props(form.dataset.sheet + "-form", { data: Object.assign({ sent: sent }, all) });
  });

  window.countercheck = Object.assign(window.countercheck || {}, { entries: entries });
})();
