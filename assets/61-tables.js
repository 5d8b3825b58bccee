/* Tables of evidence: sorted by any column, filtered, copied. Works on the page's text alone, so also without a server.

   A table that bears data-table gets buttons in its heads and a row of tools above it. A cell says what it is by
   data-value, or data-low and data-high for an interval (…-w where the page shows watts); else by its text. */
"use strict";
(function () {
  const NOTHING = "\u2013";
  const SAID_MS = 1800;
  // A cell that starts like this is run as a formula by spreadsheets. Source: OWASP, "CSV Injection".
  const FORMULA = /^ *[=+\-@\t\r\n]/;
  const NUMBER = /^[+\-]?\d+(\.\d+)?$/;
  const kept = new Map(); // what a reader chose, by table: it outlives the table being filled anew
  const FILTERS = [["kind", "Kind"], ["verdict", "Verdict"]];

  const inWatts = function () { return document.documentElement.dataset.unit === "w"; };
  const plain = function (text) {
    return text.replace(/\s+/g, " ").replace(/\u2212/g, "-").trim();
  };

  /* ---- what a cell holds */

  function text(cell) {
    if (cell.dataset.text !== undefined) return cell.dataset.text;
    const other = cell.querySelector(inWatts() ? ".in-w" : ".in-pct");
    return ((other || cell).textContent || "").replace(/\s+/g, " ").trim();
  }

  function interval(cell) {
    const end = inWatts() && "lowW" in cell.dataset ? "W" : "";
    if ("low" + end in cell.dataset) return [cell.dataset["low" + end], cell.dataset["high" + end]];
    const found = /^([+\-]?[\d.]+) to ([+\-]?[\d.]+)$/.exec(plain(text(cell)));
    return found ? [found[1], found[2]] : null;
  }

  /* A number, or null where there is none; clock times and durations in seconds, an interval by its lower end. */
  function amount(cell) {
    if (cell.dataset.value !== undefined) return cell.dataset.value === "" ? null : Number(cell.dataset.value);
    const ends = interval(cell);
    if (ends) return ends[0] === "" ? null : Number(ends[0]);
    const said = plain(text(cell)).replace(/^\u00b1 /, "");
    const clock = /^(-?)(?:(\d+):)?(\d+):(\d\d)$/.exec(said);
    if (clock) return (clock[1] ? -1 : 1) * (3600 * Number(clock[2] || 0) + 60 * Number(clock[3]) + Number(clock[4]));
    const lead = /^[+\-]?\d+(\.\d+)?/.exec(said);
    if (!lead) return null;
    return Number(lead[0]) * (/ min$/.test(said) ? 60 : / h$/.test(said) ? 3600 : 1);
  }

  /* ---- heads: one name per column, with the group above it */

  function leaves(table) {
    const grid = [];
    Array.from(table.tHead.rows).forEach(function (row, r) {
      let c = 0;
      Array.from(row.cells).forEach(function (th) {
        while (grid[c] && grid[c][r]) c += 1;
        for (let i = 0; i < th.colSpan; i += 1) {
          for (let j = 0; j < th.rowSpan; j += 1) (grid[c + i] = grid[c + i] || [])[r + j] = th;
        }
        c += th.colSpan;
      });
    });
    return grid.map(function (column) {
      const own = column[column.length - 1];
      const all = column.filter(function (th, i) { return th && th !== own && column.indexOf(th) === i; }).concat([own]);
      return { th: own, name: all.map(text).join(" "), key: all.map(function (th) { return th.textContent; }).join(" ") };
    });
  }

  function columnCells(table, place) {
    return Array.from(table.tBodies[0].rows).map(function (row) { return row.cells[place]; });
  }

  /* ---- order and filter */

  function chosen(table) {
    const name = table.dataset.table;
    if (!kept.has(name)) kept.set(name, { column: null, down: false, only: {} });
    return kept.get(name);
  }

  function apply(table) {
    const state = chosen(table), body = table.tBodies[0];
    const rows = Array.from(body.rows);
    rows.forEach(function (row, i) { if (row.dataset.order === undefined) row.dataset.order = String(i); });
    const heads = leaves(table);
    const at = heads.findIndex(function (head) { return head.key === state.column; });
    rows.sort(function (a, b) { return Number(a.dataset.order) - Number(b.dataset.order); });
    if (at >= 0) order(rows, at, state.down);
    rows.forEach(function (row) { body.appendChild(row); });
    heads.forEach(function (head, i) {
      head.th.setAttribute("aria-sort", i !== at ? "none" : state.down ? "descending" : "ascending");
    });
    let shown = 0;
    rows.forEach(function (row) {
      row.hidden = FILTERS.some(function (filter) {
        const only = state.only[filter[0]];
        return only && !(row.dataset[filter[0]] || "").split(" ").includes(only);
      });
      shown += row.hidden ? 0 : 1;
    });
    table.classList.toggle("rearranged", at >= 0 || shown < rows.length); // a device's name then stands in each of its rows
    tell(table, shown, rows.length, at >= 0 ? heads[at] : null, state.down);
  }

  /* Rows without a figure stand last either way; equals keep the ride's order. */
  function order(rows, at, down) {
    const keys = new Map(rows.map(function (row) { return [row, amount(row.cells[at])]; }));
    const figures = Array.from(keys.values()).some(function (key) { return key !== null; })
      && rows.every(function (row) { return keys.get(row) !== null || plain(text(row.cells[at])).startsWith(NOTHING); });
    const turn = down ? -1 : 1;
    rows.sort(function (a, b) {
      if (!figures) return turn * text(a.cells[at]).localeCompare(text(b.cells[at]), "en", { numeric: true });
      const x = keys.get(a), y = keys.get(b);
      if (x === null || y === null) return (x === null) - (y === null);
      return turn * (x - y);
    });
  }

  function tell(table, shown, all, column, down) {
    const place = tools(table).querySelector(".table-said");
    const rows = shown === all ? "" : shown + " of " + all + " rows. ";
    place.textContent = rows + (column ? "Sorted by " + column.name + (down ? ", highest first." : ", lowest first.") : "");
    const list = tools(table).querySelector("[data-tool='sort']");
    if (list) list.value = column ? column.key + (down ? " \u2193" : "") : "";
  }

  /* First press lowest first, second highest first, third the ride's own order. */
  function press(table, key) {
    const state = chosen(table);
    if (state.column !== key) Object.assign(state, { column: key, down: false });
    else if (!state.down) state.down = true;
    else state.column = null;
    apply(table);
  }

  /* ---- copies: what is shown, in the order shown */

  function shownRows(table) { return Array.from(table.tBodies[0].rows).filter(function (row) { return !row.hidden; }); }

  function quoted(value, figure) {
    const safe = !figure && FORMULA.test(value) ? "'" + value : value;
    return /[",\r\n]/.test(safe) ? '"' + safe.replace(/"/g, '""') + '"' : safe;
  }

  function csvCells(cell, pair) {
    if (pair) return interval(cell) || ["", ""];
    if (cell.dataset.value !== undefined && NUMBER.test(plain(text(cell)))) return [cell.dataset.value];
    const said = text(cell);
    return [said.startsWith(NOTHING) ? "" : NUMBER.test(plain(said)) ? plain(said).replace(/^\+/, "") : said];
  }

  function csvOf(table) {
    const heads = leaves(table), rows = shownRows(table);
    const pairs = heads.map(function (_, i) { return columnCells(table, i).some(interval); });
    const top = heads.flatMap(function (head, i) { return pairs[i] ? [head.name + " low", head.name + " high"] : [head.name]; });
    const lines = rows.map(function (row) {
      return heads.flatMap(function (_, i) { return csvCells(row.cells[i], pairs[i]); });
    });
    const written = lines.map(function (line) {
      return line.map(function (value) { return quoted(value, Number.isFinite(Number(value)) && value.trim() !== ""); }).join(",");
    });
    return [top.map(function (name) { return quoted(name, false); }).join(",")].concat(written).join("\r\n") + "\r\n";
  }

  function markdownOf(table) {
    const heads = leaves(table);
    const line = function (cells) { return "| " + cells.map(escaped).join(" | ") + " |"; };
    const right = heads.map(function (head) { return head.th.classList.contains("num") ? "--:" : ":--"; });
    const rows = shownRows(table).map(function (row) { return line(heads.map(function (_, i) { return text(row.cells[i]); })); });
    return [line(heads.map(function (head) { return head.name; })), "| " + right.join(" | ") + " |"].concat(rows).join("\n") + "\n";
  }

  function escaped(value) { return value.replace(/([\\|`*_<>[\]])/g, "\\$1"); }

  function copy(button, value) {
    const say = function (answer) {
      button.textContent = answer;
      setTimeout(function () { button.textContent = button.dataset.words; }, SAID_MS);
    };
    if (!navigator.clipboard) return say("This browser does not let a page copy");
    navigator.clipboard.writeText(value).then(function () { say("Copied"); }, function () { say("Not copied"); });
  }

  /* ---- the tools above a table */

  function made(tag, attributes, children) {
    const node = document.createElement(tag);
    Object.entries(attributes).forEach(function (pair) { node.setAttribute(pair[0], pair[1]); });
    node.append.apply(node, children || []);
    return node;
  }

  function tools(table) { return table.closest(".table-box").previousElementSibling; }

  function choice(name, words, options) {
    const list = made("select", { "data-tool": name, "aria-label": words }, options.map(function (one) {
      return made("option", { value: one[0] }, [one[1]]);
    }));
    return made("label", { class: "table-choice for-" + name }, [words + " ", list]);
  }

  function toolRow(table, heads) {
    const parts = [];
    FILTERS.forEach(function (filter) {
      const values = new Set();
      Array.from(table.tBodies[0].rows).forEach(function (row) {
        (row.dataset[filter[0]] || "").split(" ").filter(Boolean).forEach(function (value) { values.add(value); });
      });
      if (values.size < 2) return;
      const options = [["", "all"]].concat(Array.from(values).map(function (value) { return [value, value]; }));
      const list = choice(filter[0], filter[1], options);
      list.lastElementChild.value = chosen(table).only[filter[0]] || "";
      parts.push(list);
    });
    if (table.matches(".block-table, .stacking")) {
      const ways = heads.flatMap(function (head) { return [[head.key, head.name + " \u2191"], [head.key + " \u2193", head.name + " \u2193"]]; });
      parts.push(choice("sort", "Sort", [["", "as ridden"]].concat(ways)));
    }
    ["CSV", "Markdown"].forEach(function (form) {
      const words = "Copy as " + form;
      parts.push(made("button", { type: "button", "data-tool": form, "data-words": words }, [words]));
    });
    parts.push(made("span", { class: "table-said", role: "status" }));
    return made("div", { class: "table-tools", "data-tools": table.dataset.table }, parts);
  }

  function equip(table) {
    const box = table.closest(".table-box");
    if (!box || !table.tHead || !table.tBodies.length || table.dataset.equipped) return;
    table.dataset.equipped = "yes";
    const heads = leaves(table);
    box.before(toolRow(table, heads));
    heads.forEach(function (head) {
      const button = made("button", { type: "button", class: "sorter", "data-column": head.key });
      button.append.apply(button, Array.from(head.th.childNodes));
      head.th.append(button);
    });
    apply(table);
  }

  function equipAll() { document.querySelectorAll("table[data-table]:not([data-equipped])").forEach(equip); }

  document.addEventListener("click", function (event) {
    const sorter = event.target.closest && event.target.closest("button.sorter");
    if (sorter) return press(sorter.closest("table"), sorter.dataset.column);
    const button = event.target.closest && event.target.closest(".table-tools button");
    if (!button) return;
    const table = button.closest(".table-tools").nextElementSibling.querySelector("table");
    copy(button, button.dataset.tool === "CSV" ? csvOf(table) : markdownOf(table));
  });

  document.addEventListener("change", function (event) {
    const list = event.target.closest && event.target.closest(".table-tools select");
    if (!list) return;
    const table = list.closest(".table-tools").nextElementSibling.querySelector("table"), state = chosen(table);
    if (list.dataset.tool !== "sort") state.only[list.dataset.tool] = list.value;
    else Object.assign(state, { column: list.value.replace(/ \u2193$/, "") || null, down: / \u2193$/.test(list.value) });
    apply(table);
  });

  document.addEventListener("countercheck:filled", function (event) { if (event.detail !== "card") equipAll(); });
  document.addEventListener("DOMContentLoaded", equipAll);
  document.addEventListener("countercheck:screen", function () {
    const unit = window.countercheck.screen.now().unit; // set only where it changes: each time all tables are put in order
    if (document.documentElement.dataset.unit !== unit) document.documentElement.dataset.unit = unit;
  });
  // intervals are sorted by what they show
  new MutationObserver(function () {
    document.querySelectorAll("table[data-equipped]").forEach(apply);
  }).observe(document.documentElement, { attributes: true, attributeFilter: ["data-unit"] });
  window.countercheck = Object.assign(window.countercheck || {}, { tables: { csv: csvOf, markdown: markdownOf } });
})();
