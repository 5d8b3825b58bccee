/* Asks for what follows the overlay once the overlay is drawn: a reader sees headline and chart first. */
"use strict";
(function () {
  const PATIENCE_MS = 3000; // where no chart can be drawn, the tables come without it

  let later = null, wanted = 0, timer = 0;

  function ask() {
    clearTimeout(timer);
    wanted += 1;
    window.dash_clientside.set_props("rest-wanted", { data: wanted });
  }

  function drawn() { return Boolean(document.querySelector("#overlay .js-plotly-plot .main-svg .trace")); }

  function look() {
    const rest = document.getElementById("trial-rest"); // asked at every change of the page: no search through all of it
    const found = rest && Array.from(rest.children).find(function (one) { return one.dataset.later; });
    if (!found) { later = null; return; }
    if (found !== later) {
      later = found;
      clearTimeout(timer);
      timer = setTimeout(ask, PATIENCE_MS);
    }
    if (later.dataset.later === "yes" && drawn()) {
      later.dataset.later = "asked";
      requestAnimationFrame(function () { setTimeout(ask, 0); });
    }
  }

  new MutationObserver(look).observe(document.documentElement, { childList: true, subtree: true });
})();
