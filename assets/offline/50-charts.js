/* Charts without a server: each is drawn from the file when it comes into view, in the reader's theme, and all of them
   before printing. */
"use strict";
(function () {
  const AHEAD = "400px"; // a picture is drawn a little before it scrolls into view
  const CONFIG = { staticPlot: true, displayModeBar: false, responsive: true };
  const alone = window.countercheck.alone, pictures = alone.held.pictures;
  let view = null; // the stretch of the overlay that is drawn, null for all of it

  function theme() { return document.documentElement.dataset.theme === "dark" ? "dark" : "light"; }
  function boxes() { return Array.from(document.querySelectorAll("[data-picture]")); }

  function draw(box, ink) {
    const name = box.dataset.picture, own = pictures[name] && pictures[name][ink || theme()];
    if (!own) return;
    // plotly writes into what it is given
    const figure = JSON.parse(JSON.stringify(own));
    const shown = name === "overlay" && view ? alone.zoomed(figure, view) : figure;
    box.dataset.drawn = "yes";
    window.Plotly.react(box, shown.data, shown.layout, CONFIG);
  }

  function drawnOnes() { return boxes().filter(function (box) { return box.dataset.drawn; }); }

  const watcher = new IntersectionObserver(function (seen) {
    seen.forEach(function (one) {
      if (!one.isIntersecting) return;
      watcher.unobserve(one.target);
      if (!one.target.dataset.drawn) draw(one.target);
    });
  }, { rootMargin: AHEAD });

  alone.answer("trial-view", function (wanted) {
    view = wanted;
    draw(document.querySelector("[data-picture='overlay']"));
  });
  alone.answer("theme", function () { drawnOnes().forEach(function (box) { draw(box); }); });

  document.addEventListener("click", function (event) {
    if (!event.target.closest("#theme-switch")) return;
    window.dash_clientside.countercheck.theme(1);
    drawnOnes().forEach(function (box) { draw(box); });
  });

  window.addEventListener("beforeprint", function () { boxes().forEach(function (box) { draw(box, "light"); }); });
  window.addEventListener("afterprint", function () { boxes().forEach(function (box) { draw(box); }); });

  document.addEventListener("DOMContentLoaded", function () {
    boxes().forEach(function (box) { if (box.dataset.picture === "overlay") draw(box); else watcher.observe(box); });
  });
})();
