/* Folded parts of what the server sends anew, such as the interval card: what a reader opened stays open. */
"use strict";
(function () {
  const open = new Set();

  document.addEventListener("toggle", function (event) {
    const fold = event.target.dataset && event.target.dataset.fold;
    if (!fold || !event.target.isConnected) return;
    if (event.target.open) open.add(fold); else open.delete(fold);
  }, true);

  document.addEventListener("countercheck:filled", function () {
    document.querySelectorAll("details[data-fold]").forEach(function (fold) {
      if (open.has(fold.dataset.fold) && !fold.open) fold.open = true;
    });
  });
})();
