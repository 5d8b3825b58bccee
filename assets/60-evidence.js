/* Tells the server which pictures of evidence have come into view, by scrolling or by opening a fold. */
"use strict";
(function () {
  const AHEAD = "400px"; // asked for a little before it scrolls into view

  const watcher = new IntersectionObserver(function (seen) {
    seen.forEach(function (one) {
      if (!one.isIntersecting) return;
      watcher.unobserve(one.target);
      window.dash_clientside.set_props({ type: "evidence-seen", index: one.target.dataset.evidence }, { data: true });
    });
  }, { rootMargin: AHEAD });

  function bind() {
    document.querySelectorAll("[data-evidence]:not([data-watched])").forEach(function (picture) {
      picture.dataset.watched = "yes";
      watcher.observe(picture);
    });
  }

  new MutationObserver(bind).observe(document.documentElement, { childList: true, subtree: true });
})();
