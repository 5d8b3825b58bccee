/* On paper: charts as wide as the sheet, and a line for whatever was not there yet when the browser's own menu printed the page,
   which waits for nothing. 60-evidence.js sees to it that all is there where it is asked first. */
"use strict";
(function () {
  const SHEET_PX = 672; // A4 less two margins of 16 mm, at 96 px per inch
  const notes = [];

  function charts() { return Array.from(document.querySelectorAll("main .js-plotly-plot")).filter(function (gd) { return gd._fullLayout && gd.clientWidth; }); }

  function widen() {
    const page = document.querySelector("main .report") || document.querySelector("main");
    const box = page ? page.getBoundingClientRect().width : SHEET_PX;
    charts().forEach(function (gd) {
      const across = gd.closest("#overlay") ? SHEET_PX : Math.round((SHEET_PX * gd.clientWidth) / box);
      window.Plotly.relayout(gd, { autosize: false, width: Math.min(across, SHEET_PX) });
    });
  }

  /* ---- what was not there yet */

  function note(place, words) {
    const line = document.createElement("p");
    line.className = "not-printed";
    line.textContent = words;
    place(line);
    notes.push(line);
  }

  function titleOf(section) {
    const number = section.querySelector(".section-number"), title = section.querySelector("h2");
    return (number ? number.textContent + " " : "") + (title ? title.textContent : section.id);
  }

  function tell() {
    const ask = window.countercheck.missing, front = document.querySelector("main .front");
    const later = document.querySelector("[data-later]"), boxes = ask ? ask() : [];
    if (!front || (!later && !boxes.length)) return;
    const whole = boxes.filter(function (box) { return box.dataset.seen === "section-seen"; });
    whole.forEach(function (box) { note(function (line) { box.append(line); }, "Not loaded when this was printed."); });
    const named = new Set(boxes.map(function (box) { return box.closest("section"); }).filter(Boolean).map(titleOf));
    const what = later ? "everything below the overlay" : Array.from(named).join("; ");
    note(function (line) { front.append(line); }, "Not, or not whole, on this print, because it had not been scrolled to: " + what +
      ". \u201cPrint or save as PDF\u201d at the end of the page, or the keys for printing, load all of it first.");
  }

  window.addEventListener("beforeprint", function () {
    tell();
    widen();
  });
  window.addEventListener("afterprint", function () {
    notes.splice(0).forEach(function (line) { line.remove(); });
    charts().forEach(function (gd) { window.Plotly.relayout(gd, { autosize: true, width: null }); });
  });
})();
