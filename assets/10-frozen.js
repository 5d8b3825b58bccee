/* Fills the nodes that came as text: see app/views/frozen.py. The server has escaped every text in them. */
"use strict";
(function () {
  const filled = new WeakMap();

  function fill() {
    let changed = false;
    document.querySelectorAll("[data-html]").forEach(function (node) {
      if (filled.get(node) === node.dataset.html) return;
      const focus = node.contains(document.activeElement) ? document.activeElement.id : "";
      filled.set(node, node.dataset.html);
      node.innerHTML = node.dataset.html;
      changed = true;
      if (focus && document.getElementById(focus)) document.getElementById(focus).focus();
    });
    if (changed) document.dispatchEvent(new CustomEvent("countercheck:filled"));
  }

  new MutationObserver(fill).observe(document.documentElement, {
    childList: true, subtree: true, attributes: true, attributeFilter: ["data-html"],
  });
})();
