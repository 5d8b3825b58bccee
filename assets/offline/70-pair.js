/* Tables of another pair without a server: the file holds them deflated, as the server's own views wrote them
   (app/offline/pairs.py). A single device's columns are taken out of the whole block table. */
"use strict";
(function () {
  const LEAD = 4, COLUMNS = 4; // as app/views/tables.py: of the block, and of each device
  const SORRY = '<div class="notice" role="note"><p>This browser cannot unpack the tables of another pair; those of the trial\u2019s reference are shown.</p></div>';
  const alone = window.countercheck.alone, held = alone.held;
  const boxes = Array.from(document.querySelectorAll("[data-pair-box]"));
  const first = {}; // as the file came, before anything was sorted
  let unpacked = null, shown = "", asked = 0;

  boxes.forEach(function (box) { first[box.dataset.pairBox] = box.innerHTML; });

  async function unpack() {
    const bytes = Uint8Array.from(atob(held.pairs), function (c) { return c.charCodeAt(0); });
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    return JSON.parse(await new Response(stream).text());
  }

  function tables() { return (unpacked = unpacked || unpack()); }

  /* ---- one device's columns of a block table */

  function columnsOf(markup, device, means) {
    const page = document.createElement("template");
    page.innerHTML = markup;
    const table = page.content.querySelector("table"), groups = Array.from(table.querySelectorAll("th[scope=colgroup]"));
    const own = groups.findIndex(function (th) { return th.textContent === device; });
    const keep = function (cells, lead) {
      cells.forEach(function (cell, i) { if (i >= lead && Math.floor((i - lead) / COLUMNS) !== own) cell.remove(); });
    };
    groups.forEach(function (th, i) { if (i !== own) th.remove(); });
    keep(Array.from(table.tHead.rows[1].cells), 0);
    Array.from(table.tBodies[0].rows).forEach(function (row, i) {
      keep(Array.from(row.cells), LEAD);
      row.cells[LEAD - 1].outerHTML = means[i];
      const verdict = row.querySelector(".delta-verdict").dataset.text;
      row.dataset.verdict = verdict === "\u2013" ? "" : verdict;
    });
    return page.innerHTML;
  }

  function frozen(markup) { return '<div class="frozen">' + markup + "</div>"; }

  function contentOf(all, name, against, device) {
    if (against === held.trial.reference && device === "") return first[name];
    const own = all[against][device];
    if (name !== "blocks") return own[name];
    const table = against === held.trial.reference ? first.blocks : all[against][""].table;
    return frozen(own.blocks + (device === "" ? table : columnsOf(table, device, own.means)));
  }

  /* ---- what the screen asks for */

  function put(all, against, device) {
    boxes.forEach(function (box) { box.innerHTML = contentOf(all, box.dataset.pairBox, against, device); });
    document.dispatchEvent(new CustomEvent("countercheck:filled"));
  }

  function follow() {
    const now = window.countercheck.screen.now(), against = now.against || held.trial.reference, device = now.device || "";
    const wanted = JSON.stringify([against, device]);
    if (wanted === (shown || JSON.stringify([held.trial.reference, ""])) || !held.pairs) return;
    shown = wanted;
    const mine = (asked += 1);
    tables().then(function (all) { if (mine === asked) put(all, against, device); }, function () {
      boxes.forEach(function (box) { box.innerHTML = SORRY + first[box.dataset.pairBox]; });
      document.dispatchEvent(new CustomEvent("countercheck:filled"));
    });
  }

  document.addEventListener("countercheck:screen", follow);
  document.addEventListener("click", function (event) {
    if (event.target.closest && event.target.closest("[data-pair-back]")) window.countercheck.screen.set({ device: null, against: null });
  });
})();
