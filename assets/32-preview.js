/* The drawing at hand, stretched and moved at once to the stretch that is wanted, until the server has drawn that: lines and
   bars are scaled in time alone, grid lines, times and letters move without being scaled. */
"use strict";
(function () {
  const NEAR_S = 0.01; // views nearer than this are the same

  const tools = function () { return window.countercheck.overlay; };
  const translated = /translate\(([-\d.e]+)[ ,]*([-\d.e]*)/;

  function follow() {
    const gd = tools().there() ? tools().graph() : null;
    if (!gd || !gd.layout || !gd.layout.meta || !gd.layout.meta.view) return;
    const drawn = gd.layout.meta.view, wanted = window.countercheck.screen.now().view || tools().whole();
    const off = Math.abs(wanted[0] - drawn[0]) > NEAR_S || Math.abs(wanted[1] - drawn[1]) > NEAR_S;
    const box = document.getElementById("chart-box");
    if (!off && !box.hasAttribute("data-drawing")) return;
    box.toggleAttribute("data-drawing", off);
    if (off) stretch(gd, drawn, wanted);
    tools().ahead(off ? wanted : null);
  }

  /* In pixels, x becomes left + (x - left) * scale + by. What is set here only 30-overlay.css uses, inside the chart: the
     charting library measures letters elsewhere, while they are still marked, and must not find them moved. */
  function stretch(gd, drawn, wanted) {
    const size = tools().width(), left = document.getElementById("scrub-layer").offsetLeft;
    const scale = (drawn[1] - drawn[0]) / (wanted[1] - wanted[0]), by = (size * (drawn[0] - wanted[0])) / (wanted[1] - wanted[0]);
    gd.style.setProperty("--by", by + "px");
    gd.style.setProperty("--scale", String(scale));
    gd.querySelectorAll(".barlayer text").forEach(function (letter) {
      const at = translated.exec(letter.getAttribute("transform"));
      letter.style.setProperty("--at", at ? "translate(" + at[1] + "px, " + (at[2] || 0) + "px)" : "none");
    });
    gd.querySelectorAll(".gridlayer .xgrid, .xaxislayer-above .xtick text").forEach(function (part) {
      const at = translated.exec(part.getAttribute("transform")), x = at ? left + (Number(at[1]) - left) * scale + by : -1;
      part.style.setProperty("--at", "translate(" + x + "px, " + ((at && at[2]) || 0) + "px)");
      part.style.setProperty("--seen", x < left || x > left + size ? "0" : "1");
    });
  }

  document.addEventListener("countercheck:drawn", follow);
  document.addEventListener("countercheck:screen", function (event) { if (event.detail.includes("view")) follow(); });
})();
