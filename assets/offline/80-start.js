/* A report without a server comes alive: overlay and card follow the screen, beginning with what the address asks for. */
"use strict";
(function () {
  const alone = window.countercheck.alone, screen = window.countercheck.screen;
  let due = false;

  alone.made.overlay = function (ink) {
    const now = screen.now(), figure = alone.overlay(now, now.view, ink);
    document.getElementById("chart-box").style.setProperty("--chart-height", figure.layout.height + "px");
    return figure;
  };

  /* Stretch and choices may change together: drawn once. */
  function redraw() {
    if (due) return;
    due = true;
    queueMicrotask(function () {
      due = false;
      alone.draw(document.querySelector("[data-picture='overlay']"));
    });
  }

  alone.answer("trial-view", redraw);
  alone.answer("trial-screen", redraw);
  alone.answer("trial-window", function (window_) {
    document.getElementById("interval-card").innerHTML = alone.card(window_);
    document.dispatchEvent(new CustomEvent("countercheck:filled"));
  });

  document.addEventListener("DOMContentLoaded", function () {
    const now = screen.now();
    if (now.window) window.dash_clientside.set_props("trial-window", { data: now.window });
    document.dispatchEvent(new CustomEvent("countercheck:screen", { detail: Object.keys(now) }));
  });
})();
