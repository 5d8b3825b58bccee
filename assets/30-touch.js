/* Two fingers on the overlay: spread or pinched they zoom, moved together they pan; one finger selects (30-scrub.js), and up
   and down it scrolls the page. The seconds under the fingers stay under them. */
"use strict";
(function () {
  const LEAST_PX = 24; // fingers nearer than this count as so far apart: else the last millimetre would zoom without end

  const fingers = new Map(); // on the layer: pointerId -> {x, y}
  let pinch = null; // {apart_px, span_s, t} of the start; until the last finger is lifted

  const tools = function () { return window.countercheck.overlay; };

  function onLayer(event) {
    return event.pointerType === "touch" && Boolean(event.target.closest && event.target.closest("#scrub-layer")) && tools().there();
  }

  function between() {
    const both = Array.from(fingers.values()).slice(0, 2);
    return {
      apart_px: Math.max(Math.hypot(both[1].x - both[0].x, both[1].y - both[0].y), LEAST_PX),
      x: (both[0].x + both[1].x) / 2,
    };
  }

  function follow(live) {
    const now = between(), box = document.getElementById("scrub-layer").getBoundingClientRect();
    const span = (pinch.span_s * pinch.apart_px) / now.apart_px;
    const all = tools().whole(), held = Math.min(span, all[1] - all[0]);
    window.countercheck.view.fit(pinch.t - ((now.x - box.left) / box.width) * held, held, live);
  }

  document.addEventListener("pointerdown", function (event) {
    if (!onLayer(event)) return;
    if (event.isPrimary) { fingers.clear(); pinch = null; } // a finger whose end was never told is gone
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (fingers.size !== 2) return;
    tools().giveUp();
    const seen = tools().view(), now = between();
    pinch = { apart_px: now.apart_px, span_s: seen[1] - seen[0], t: tools().timeAt(now.x) };
  }, true);

  document.addEventListener("pointermove", function (event) {
    if (!fingers.has(event.pointerId)) return;
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (!pinch) return;
    event.stopPropagation();
    if (fingers.size >= 2) follow(true);
  }, true);

  ["pointerup", "pointercancel"].forEach(function (name) {
    document.addEventListener(name, function (event) {
      if (!fingers.has(event.pointerId)) return;
      if (pinch && fingers.size === 2) follow(false);
      fingers.delete(event.pointerId);
      if (!pinch) return;
      event.stopPropagation(); // the finger that stays for longer selects nothing
      if (!fingers.size) pinch = null;
    }, true);
  });

  // the browser would scroll with two fingers as with one
  ["touchstart", "touchmove"].forEach(function (name) {
    document.addEventListener(name, function (event) {
      if (event.touches.length > 1 && event.target.closest && event.target.closest("#scrub-layer") && event.cancelable) event.preventDefault();
    }, { passive: false, capture: true });
  });
})();
