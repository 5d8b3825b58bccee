/* The row of choices above the overlay: what is pressed or picked goes to the screen, and the row shows what the screen is. */
"use strict";
(function () {
  const screen = function () { return window.countercheck.screen; };

  function choose(name, value) {
    if (name === "rows") {
      const now = screen().now().rows, all = Array.from(document.querySelectorAll("[data-show='rows']"));
      const wanted = all.map(function (one) { return one.dataset.value; }).filter(function (row) {
        return row === value ? !now.includes(row) : now.includes(row);
      });
      return screen().set({ rows: wanted });
    }
    if (name === "mean_s") return screen().set({ mean_s: value === "" ? null : Number(value) });
    if (name === "against") { // nothing is held against itself
      const device = screen().now().device;
      return screen().set({ against: value || null, device: device === (value || reference()) ? null : device });
    }
    return screen().set({ [name]: value === "" ? null : value });
  }

  function reference() {
    const first = document.querySelector("select[data-show='device'] option:nth-child(2)");
    return first ? first.value : "";
  }

  function show() {
    const now = screen().now();
    document.querySelectorAll("[data-show]").forEach(function (one) {
      const name = one.dataset.show, held = now[name];
      if (one.tagName === "SELECT") one.value = held === null ? "" : String(held);
      else one.setAttribute("aria-pressed", String(name === "rows" ? held.includes(one.dataset.value) : held === one.dataset.value));
    });
    const held = now.against || reference();
    document.querySelectorAll("[data-readout]").forEach(function (one) { // the legend of what is drawn
      one.closest("li").hidden = now.device !== null && ![now.device, held].includes(one.dataset.readout);
    });
    document.querySelectorAll("select[data-show='device'] option").forEach(function (one) {
      one.disabled = one.value !== "" && one.value === held;
    });
  }

  document.addEventListener("click", function (event) {
    const button = event.target.closest && event.target.closest("button[data-show]");
    if (button) choose(button.dataset.show, button.dataset.value);
  });
  document.addEventListener("change", function (event) {
    if (event.target.matches && event.target.matches("select[data-show]")) choose(event.target.dataset.show, event.target.value);
  });
  document.addEventListener("countercheck:screen", function (event) { // an interval or a stretch is not shown in this row
    if (event.detail.some(function (name) { return name !== "window" && name !== "view"; })) show();
  });
  document.addEventListener("countercheck:filled", function (event) { if (event.detail !== "card") show(); });
})();
