/* On paper: charts as wide as the sheet. 60-evidence.js sees to it that they are all there. */
"use strict";
(function () {
  const SHEET_PX = 672; // A4 less two margins of 16 mm, at 96 px per inch

  function charts() { return Array.from(document.querySelectorAll("main .js-plotly-plot")).filter(function (gd) { return gd._fullLayout && gd.clientWidth; }); }

  window.addEventListener("beforeprint", function () {
    const page = document.querySelector("main .report") || document.querySelector("main");
    const box = page ? page.getBoundingClientRect().width : SHEET_PX;
    charts().forEach(function (gd) {
      const across = gd.closest("#overlay") ? SHEET_PX : Math.round((SHEET_PX * gd.clientWidth) / box);
      window.Plotly.relayout(gd, { autosize: false, width: Math.min(across, SHEET_PX) });
    });
  });
  window.addEventListener("afterprint", function () {
    charts().forEach(function (gd) { window.Plotly.relayout(gd, { autosize: true, width: null }); });
  });
})();
