/* The files that have come in and what was typed of them, kept in this tab until they become a trial: whoever follows a link or
   reloads finds them again. The server holds what was uploaded for a day. */
"use strict";
(function () {
  const KEPT = "countercheck.incoming";
  const HOLD_MS = 20 * 3600 * 1000; // less than the day after which an unused upload is swept away

  function save(files, typed) {
    try {
      if (!files.length) return window.sessionStorage.removeItem(KEPT);
      window.sessionStorage.setItem(KEPT, JSON.stringify({ files: files, typed: typed, at: Date.now() }));
    } catch (blocked) { /* then a reload starts afresh */ }
  }

  function load() {
    try {
      const kept = JSON.parse(window.sessionStorage.getItem(KEPT));
      return kept && Array.isArray(kept.files) && Date.now() - kept.at < HOLD_MS ? kept : null;
    } catch (blocked) { return null; }
  }

  window.countercheck = Object.assign(window.countercheck || {}, { incoming: { save: save, load: load } });
})();
