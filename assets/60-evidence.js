/* What is drawn or filled once it is seen: tells the server which sections and pictures have come into view, by scrolling,
   by a link or by opening a fold; asks for all of them before the page is printed; asks again for another pair.

   A box names its store by data-seen (type) and data-index. */
"use strict";
(function () {
  const AHEAD = "500px"; // asked for a little before it scrolls into view
  const PATIENCE_MS = 20000; // a print does not wait longer than this for what has not come
  const LOOK_MS = 100;

  let asked = 0;
  let pair = { device: null, against: null };

  function ask(box) {
    watcher.unobserve(box);
    box.dataset.asked = "yes";
    asked += 1;
    const wish = "pair" in box.dataset ? Object.assign({ asked: asked }, pair) : { asked: asked };
    window.dash_clientside.set_props({ type: box.dataset.seen, index: box.dataset.index }, { data: wish });
  }

  const watcher = new IntersectionObserver(function (seen) {
    seen.forEach(function (one) { if (one.isIntersecting) ask(one.target); });
  }, { rootMargin: AHEAD });

  function filled(box) {
    return box.querySelector(box.dataset.seen === "section-seen" ? ".section-content > *" : ".main-svg") !== null;
  }

  function watch(box) {
    if (box.dataset.watched) return;
    box.dataset.watched = "yes";
    if (!filled(box)) watcher.observe(box);
  }

  /* Only what has come: the page changes at every step of a drag, and holds tens of thousands of elements. */
  function bind(records) {
    records.forEach(function (record) {
      record.addedNodes.forEach(function (node) {
        if (!node.querySelectorAll) return;
        if (node.matches("[data-seen]")) watch(node);
        node.querySelectorAll("[data-seen]").forEach(watch);
      });
    });
  }

  /* ---- another pair: tables that stand already are asked for again */

  document.addEventListener("countercheck:screen", function (event) {
    const now = window.countercheck.screen.now(), wanted = { device: now.device, against: now.against };
    const arrived = event.detail.length > 6; // the page has just come, with its tables as the address asks for them
    const other = JSON.stringify(wanted) !== JSON.stringify(pair);
    pair = wanted;
    if (!other || arrived) return;
    document.querySelectorAll("[data-pair][data-seen]").forEach(function (box) { if (filled(box) || box.dataset.asked) ask(box); });
  });

  document.addEventListener("click", function (event) {
    const target = event.target.closest && event.target.closest("[data-pair-back], [data-print]");
    if (!target) return;
    if ("print" in target.dataset) printWhole(target);
    else window.countercheck.screen.set({ device: null, against: null });
  });

  /* ---- print: everything is there first */

  function missing() { return Array.from(document.querySelectorAll("[data-seen]")).filter(function (box) { return !filled(box); }); }

  function fill(then) {
    const until = performance.now() + PATIENCE_MS;
    (function look() {
      const left = missing();
      left.forEach(function (box) { if (!box.dataset.asked) ask(box); });
      if (!left.length || performance.now() > until) then();
      else setTimeout(look, LOOK_MS);
    })();
  }

  function printWhole(button) {
    const words = button && button.textContent;
    if (button) button.textContent = "Filling the page …";
    document.querySelectorAll("details.fold").forEach(function (fold) { fold.open = true; });
    fill(function () {
      if (button) button.textContent = words;
      window.print();
    });
  }

  document.addEventListener("keydown", function (event) {
    if (event.key.toLowerCase() !== "p" || !(event.ctrlKey || event.metaKey) || event.shiftKey || event.altKey || !missing().length) return;
    event.preventDefault();
    printWhole(null);
  });

  // printed by the browser's own menu: what is missing is asked for, and 71-print.js says so on paper
  window.addEventListener("beforeprint", function () { fill(function () {}); });

  new MutationObserver(bind).observe(document.documentElement, { childList: true, subtree: true });
  window.countercheck = Object.assign(window.countercheck || {}, { fill: fill, missing: missing });
})();
