/* While a comparison runs: ask again a moment after each answer has arrived.

   Not by a clock: dash drops an answer that a later question has overtaken, so a steady tick would never get through
   where an answer takes longer than the tick, over a slow line or with a long report. */
"use strict";
(function () {
  const PAUSE_MS = 250;
  const LOST_MS = 8000; // an answer that takes longer than this was lost on the way
  let answer = null, timer = 0, asked = 0;

  function ask() {
    asked += 1;
    window.dash_clientside.set_props("trial-poll", { data: asked });
    timer = setTimeout(ask, LOST_MS);
  }

  function look() {
    const view = ["trial-content", "changing"].map(function (id) { // asked at every change: no search through all of the page
      const place = document.getElementById(id);
      return place && place.firstElementChild;
    }).find(function (first) { return first && first.dataset.askAgain; });
    const now = view ? view.dataset.askAgain : null;
    if (now === answer) return;
    answer = now;
    clearTimeout(timer);
    if (now) timer = setTimeout(ask, PAUSE_MS);
  }

  new MutationObserver(look).observe(document.documentElement, {
    childList: true, subtree: true, attributes: true, attributeFilter: ["data-ask-again"],
  });
})();
