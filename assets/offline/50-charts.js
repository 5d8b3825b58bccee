/* Charts without a server: each is drawn from the file when it comes into view, in the reader's theme, and all of them
   before printing. A picture that the file does not hold is made by whoever has put its name into `alone.made`. */
"use strict";
(function () {
  const AHEAD = "400px"; // a picture is drawn a little before it scrolls into view
  const CONFIG = { staticPlot: true, displayModeBar: false, responsive: true };
  const FADED = /^rgba\((\d+, \d+, \d+), ([\d.]+)\)$/;
  const alone = window.countercheck.alone, pictures = alone.held.pictures, colours = alone.held.colours;

  function theme() { return document.documentElement.dataset.theme === "dark" ? "dark" : "light"; }
  function boxes() { return Array.from(document.querySelectorAll("[data-picture]")); }

  /* A copy, because plotly writes into what it is given; in the dark by changing one colour after the other. */
  function heldPicture(both, ink) {
    if (ink === "light" || both.dark) return JSON.parse(JSON.stringify(both[ink]));
    return JSON.parse(JSON.stringify(both.light), function (_, value) {
      if (typeof value !== "string") return value;
      if (Object.hasOwn(colours, value)) return colours[value];
      const faded = FADED.exec(value);
      return faded ? "rgba(" + (colours[faded[1]] || faded[1]) + ", " + faded[2] + ")" : value;
    });
  }

  function draw(box, ink) {
    const name = box.dataset.picture, made = alone.made[name], own = pictures[name];
    if (!made && !own) return;
    const figure = made ? made(ink || theme()) : heldPicture(own, ink || theme());
    box.dataset.drawn = "yes";
    window.Plotly.react(box, figure.data, figure.layout, CONFIG);
  }

  function drawnOnes() { return boxes().filter(function (box) { return box.dataset.drawn; }); }

  const watcher = new IntersectionObserver(function (seen) {
    seen.forEach(function (one) {
      if (!one.isIntersecting) return;
      watcher.unobserve(one.target);
      if (!one.target.dataset.drawn) draw(one.target);
    });
  }, { rootMargin: AHEAD });

  alone.answer("theme", function () { drawnOnes().forEach(function (box) { draw(box); }); });

  document.addEventListener("click", function (event) {
    if (!event.target.closest("#theme-switch")) return;
    window.dash_clientside.countercheck.theme(1);
    drawnOnes().forEach(function (box) { draw(box); });
  });

  window.addEventListener("beforeprint", function () { boxes().forEach(function (box) { draw(box, "light"); }); });
  window.addEventListener("afterprint", function () { boxes().forEach(function (box) { draw(box); }); });

  document.addEventListener("DOMContentLoaded", function () {
    boxes().forEach(function (box) { if (alone.made[box.dataset.picture]) draw(box); else watcher.observe(box); });
  });

  Object.assign(alone, { draw: draw, made: {}, picture: function (name, ink) { return heldPicture(pictures[name], ink); } });
})();
