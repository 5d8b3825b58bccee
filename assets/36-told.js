/* Says in one sentence, for ears, what the interval card shows once it has stood still for a moment: which interval, and of
   each device delta and verdict. The words are the card's own. */
"use strict";
(function () {
  const STILL_MS = 700; // a drag or a held key changes the card many times a second

  let voice = null, timer = 0, last = "";

  function text(node, selector) {
    const found = node.querySelector(selector);
    return found ? found.textContent.trim() : "";
  }

  function sentence(card) {
    const devices = Array.from(card.querySelectorAll(".card-device")).map(function (device) {
      const verdict = device.querySelector(".verdict"), mark = verdict && verdict.querySelector(".mark");
      const word = verdict ? verdict.textContent.slice(mark ? mark.textContent.length : 0) : "";
      return [text(device, ".label-text"), text(device, ".card-delta"), word].filter(Boolean).join(" ");
    });
    const stretch = card.querySelector(".card-span").cloneNode(true);
    stretch.querySelectorAll("[aria-hidden]").forEach(function (dash) { dash.remove(); });
    return [text(card, ".overline") + " " + stretch.textContent.trim()].concat(devices).join("; ") + ".";
  }

  function shown() {
    const card = document.getElementById("interval-card");
    return card && card.querySelector(".card-span") ? sentence(card) : "";
  }

  function tell() {
    const words = shown();
    if (words && words !== last) voice.textContent = words;
    last = words || last;
  }

  function listen() {
    if (!voice || !voice.isConnected) {
      const main = document.querySelector("main");
      if (!main) return;
      voice = document.createElement("p");
      voice.className = "hidden-text";
      voice.id = "card-told";
      voice.setAttribute("role", "status");
      main.append(voice);
    }
    last = last || shown(); // what stands there at first is read where it stands
    clearTimeout(timer);
    timer = setTimeout(tell, STILL_MS);
  }

  document.addEventListener("countercheck:filled", listen);
})();
