/* Fills the nodes that came as text: see app/views/frozen.py. The server has escaped every text in them.

   It looks only at what has come or changed: a page may hold tens of thousands of elements, and the card is filled at every
   step of a drag. The event says "card" where nothing else was filled. */
"use strict";
(function () {
  const filled = new WeakMap();

  function nodesOf(records) {
    const found = new Set();
    records.forEach(function (record) {
      if (record.type === "attributes") return found.add(record.target);
      record.addedNodes.forEach(function (node) {
        if (!node.querySelectorAll) return;
        if (node.matches("[data-html]")) found.add(node);
        node.querySelectorAll("[data-html]").forEach(function (one) { found.add(one); });
      });
    });
    return found;
  }

  function fill(records) {
    const changed = [];
    nodesOf(records).forEach(function (node) {
      if (!node.isConnected || node.dataset.html === undefined || filled.get(node) === node.dataset.html) return;
      const focus = node.contains(document.activeElement) ? document.activeElement.id : "";
      filled.set(node, node.dataset.html);
      node.innerHTML = node.dataset.html;
      changed.push(node.id);
      if (focus && document.getElementById(focus)) document.getElementById(focus).focus();
    });
    if (!changed.length) return;
    const what = changed.every(function (id) { return id === "interval-card"; }) ? "card" : "page";
    document.dispatchEvent(new CustomEvent("countercheck:filled", { detail: what }));
  }

  new MutationObserver(fill).observe(document.documentElement, {
    childList: true, subtree: true, attributes: true, attributeFilter: ["data-html"],
  });
})();
