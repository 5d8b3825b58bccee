/* Files in: drop or pick, one request per file, progress and outcome for each. How a row looks: 22-file-rows.js. */
"use strict";
(function () {
  const AT_ONCE = 2; // the server reads two at a time
  const SETUP_MAX_BYTES = 200000;
  const TIMEOUT_MS = 180000;
  const MOST_FILES = 60; // of one drop: a folder may hold years of rides
  const BUSY = [429, 503]; // the server has too much to do: it is asked again by itself
  const BUSY_PAUSE_S = 3, BUSY_TRIES = 20;
  const OURS = /\.(fit|tcx|gpx|csv|tsv|txt|xml|gz|zip|toml)$/i; // of a folder only these are taken
  let rows = []; // {file, name, state: waiting|sending|arrived|good|refused|setup, answer, element, tries}
  let busy = 0, passedOver = 0;
  let setupNumber = 0; // of the set-up file that the sheet must know before what stands in it counts
  let ownReference = false; // whether the reference was chosen by hand

  function make(tag, className, text) {
    const element = document.createElement(tag);
    if (className) element.className = className;
    if (text) element.textContent = text;
    return element;
  }

  function picker(label, folder) {
    const input = make("input");
    input.type = "file";
    input.multiple = true;
    input.hidden = true;
    if (folder) input.webkitdirectory = true;
    input.id = folder ? "pick-folder" : "pick-files";
    const button = make("button", "quiet", label);
    button.type = "button";
    button.addEventListener("click", function () { input.click(); });
    input.addEventListener("change", function () {
      take(folder ? known(Array.from(input.files)) : Array.from(input.files));
      input.value = ""; // the same file may be picked again after it was removed
    });
    return [button, input];
  }

  function prepare(slot) {
    slot.dataset.ready = "yes";
    rows = [];
    busy = setupNumber = passedOver = 0;
    ownReference = false;
    slot.append(...picker("Choose files", false), ...picker("Choose a folder", true));
    setTimeout(restore, 0); // by then dash knows the stores
    const zone = document.getElementById("drop-zone");
    zone.addEventListener("dragover", function (event) { event.preventDefault(); zone.classList.add("over"); });
    zone.addEventListener("dragleave", function () { zone.classList.remove("over"); });
    zone.addEventListener("drop", function (event) {
      event.preventDefault();
      zone.classList.remove("over");
      gather(event.dataTransfer).then(take);
    });
  }

  /* What this tab had before it was left: see 19-kept-files.js. */
  function restore() {
    const kept = window.countercheck.incoming.load();
    if (!kept || rows.length) return;
    rows = kept.files.map(function (one) { return { name: one.name, state: "good", answer: one.answer }; });
    rows.forEach(function (row) { show(row); });
    ownReference = Boolean(kept.typed && kept.typed.reference);
    publish(kept.typed);
  }

  function keep(typed) {
    const good = rows.filter(function (row) { return row.state === "good"; });
    const entries = Object.assign({}, typed || window.countercheck.entries(document.querySelector('form[data-sheet="new"]')));
    if (!ownReference) entries.reference = "";
    window.countercheck.incoming.save(good.map(function (row) { return { name: row.name, answer: row.answer }; }), entries);
  }

  /* A folder dropped onto the page holds its files behind an older interface; plain files come as they are. */
  function gather(transfer) {
    const entries = Array.from(transfer.items || []).map(function (item) {
      return item.webkitGetAsEntry ? item.webkitGetAsEntry() : null;
    });
    if (!entries.some(function (entry) { return entry && entry.isDirectory; })) return Promise.resolve(Array.from(transfer.files));
    return Promise.all(entries.filter(Boolean).map(filesIn)).then(function (lists) { return known(lists.flat()); });
  }

  /* A folder holds much that is no recording; it is counted, not sent. */
  function known(files) {
    const ours = files.filter(function (file) { return OURS.test(file.name) && !file.name.startsWith("."); });
    passedOver += files.length - ours.length;
    return ours;
  }

  function filesIn(entry) {
    if (entry.isFile) return new Promise(function (done) { entry.file(function (file) { done([file]); }, function () { done([]); }); });
    const reader = entry.createReader();
    const all = [];
    return new Promise(function (done) {
      (function next() {
        reader.readEntries(function (some) {
          if (!some.length) return Promise.all(all.map(filesIn)).then(function (lists) { done(lists.flat()); });
          all.push(...some);
          next();
        }, function () { done([]); });
      })();
    });
  }

  function take(files) {
    passedOver += Math.max(files.length - MOST_FILES, 0);
    files.slice(0, MOST_FILES).forEach(function (file) {
      if (/\.toml$/i.test(file.name)) return takeSetup(file);
      const row = { file: file, name: file.name, state: "waiting", tries: 0 };
      rows.push(row);
      show(row);
    });
    send();
    count();
  }

  function takeSetup(file) {
    const row = { name: file.name, state: "setup" };
    rows = rows.filter(function (other) { if (other.state === "setup") other.element.remove(); return other.state !== "setup"; });
    rows.push(row);
    if (file.size > SETUP_MAX_BYTES) { row.state = "refused"; row.answer = { error: file.name + " is too large for a set-up file." }; return show(row); }
    file.text().then(function (text) {
      setupNumber += 1;
      ownReference = false;
      window.dash_clientside.set_props("setup-text", { data: text });
      row.answer = { about: "set-up file, used to fill in the sheet" };
      show(row);
      publish();
    });
  }

  function send() {
    const row = rows.find(function (one) { return one.state === "waiting" && !one.pause; });
    if (!row || busy >= AT_ONCE) return;
    busy += 1;
    row.state = "sending";
    show(row);
    const request = new XMLHttpRequest();
    row.request = request;
    request.open("POST", "/upload");
    request.timeout = TIMEOUT_MS;
    request.setRequestHeader("X-Requested-With", "countercheck");
    request.setRequestHeader("X-File-Name", encodeURIComponent(row.name));
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.upload.onprogress = function (event) {
      if (event.lengthComputable && row.bar) row.bar.value = event.loaded / event.total;
      if (row.words && event.loaded === event.total) row.words.textContent = "reading …";
    };
    request.onloadend = function () {
      busy -= 1;
      finish(row, request);
      send();
    };
    request.send(row.file);
    send();
  }

  function finish(row, request) {
    if (!rows.includes(row)) return;
    let answer = null;
    try { answer = JSON.parse(request.responseText); } catch (notJson) { answer = null; }
    if (BUSY.includes(request.status) && row.tries < BUSY_TRIES) return wait(row, request, answer);
    if (answer && answer.recordings) {
      unpack(row, answer.recordings.concat(answer.errors));
    } else {
      if (!answer || !(answer.id || answer.error || answer.trial)) {
        answer = { error: row.name + " did not arrive; check the connection and try again." };
      }
      settle(row, answer);
    }
    publish();
  }

  /* The server is busy and says so: the row keeps its place and asks again by itself. */
  function wait(row, request, answer) {
    const pause = Number(request.getResponseHeader("Retry-After")) || BUSY_PAUSE_S;
    row.tries += 1;
    row.state = "waiting";
    row.said = (answer && answer.error) || "The server is busy; trying again.";
    row.pause = setTimeout(function () { row.pause = 0; send(); }, 1000 * pause);
    show(row);
  }

  function again(row) {
    Object.assign(row, { state: "waiting", tries: 0, answer: null, said: "" });
    show(row);
    send();
    count();
  }

  /* An archive becomes one row for each file in it, where its own row was. */
  function unpack(archive, answers) {
    const members = answers.map(function (answer) { return { name: answer.name, state: "arrived" }; });
    rows.splice(rows.indexOf(archive), 1, ...members);
    members.forEach(function (row, i) { settle(row, answers[i], archive.element); });
    archive.element.remove();
  }

  function settle(row, answer, before) {
    const twin = answer.id && rows.find(function (other) { return other.state === "good" && other.answer.sha256 === answer.sha256; });
    if (twin) answer = { twin: true, error: row.name + " is the same file as " + twin.name + ", which is here already; it was left out." };
    row.state = answer.error ? "refused" : answer.trial ? "whole" : "good";
    row.answer = answer;
    show(row, before);
  }

  /* What is typed counts only once the sheet has seen the newest set-up file: before, it is what that file replaces. */
  function publish(typed) {
    const known = window.countercheck.devices.all();
    const good = rows.filter(function (row) { return row.state === "good"; }).map(function (row) {
      return Object.assign({}, row.answer, { remembered: known[row.answer.device] || null });
    });
    const form = document.querySelector('form[data-sheet="new"]');
    const current = form && form.elements["setup-number"].value === String(setupNumber);
    const entries = typed || (current ? window.countercheck.entries(form) : null);
    if (entries && !ownReference) entries.reference = "";
    window.dash_clientside.set_props("uploads", { data: { files: good, typed: entries, setup: setupNumber } });
    keep(entries);
    count();
  }

  function pending() { return rows.filter(function (row) { return row.state === "waiting" || row.state === "sending"; }).length; }

  /* How many are ready, for everybody and for a screen reader; Analyse waits for those on their way. */
  function count() {
    const said = document.getElementById("file-count");
    if (!said) return;
    const good = rows.filter(function (row) { return row.state === "good"; }).length;
    const refused = rows.filter(function (row) { return row.state === "refused"; }).length;
    const pieces = [];
    if (rows.length) pieces.push(good + (good === 1 ? " recording ready" : " recordings ready"));
    if (pending()) pieces.push(pending() + " on the way");
    if (refused) pieces.push(refused + " not usable");
    if (passedOver) pieces.push(passedOver + (passedOver === 1 ? " other file" : " other files") + " passed over");
    const words = pieces.length ? pieces.join(", ") + "." : "";
    if (said.textContent !== words) said.textContent = words;
    const button = document.getElementById("analyse");
    const sheetRows = document.querySelectorAll('form[data-sheet="new"] [data-part="label"]').length; // it comes a moment later
    if (button) button.disabled = good < 2 || pending() > 0 || sheetRows !== good;
  }

  function show(row, before) {
    const list = document.getElementById("file-list");
    if (!list) return;
    const element = window.countercheck.fileRow(row, { drop: drop, again: again, settle: settle });
    const focused = row.element && row.element.contains(document.activeElement);
    if (row.element && row.element.isConnected) row.element.replaceWith(element);
    else list.insertBefore(element, before || null);
    row.element = element;
    if (focused) element.querySelector("button").focus();
  }

  function drop(row) {
    const next = row.element.nextElementSibling || row.element.previousElementSibling;
    rows = rows.filter(function (other) { return other !== row; });
    if (row.request && row.state === "sending") row.request.abort();
    clearTimeout(row.pause);
    if (row.state === "setup") window.dash_clientside.set_props("setup-text", { data: null });
    row.element.remove();
    (next ? next.querySelector("button") : document.querySelector("#file-slot button")).focus();
    publish();
  }

  window.addEventListener("countercheck:sent", function (event) {
    if (event.detail.sheet !== "new") return;
    window.countercheck.incoming.save([]); // from here on the trial holds them
    rows.forEach(function (row) {
      const said = row.state === "good" && event.detail.entries.rows[row.answer.id];
      if (said) window.countercheck.devices.keep(row.answer.device, said);
    });
  });

  document.addEventListener("change", function (event) {
    if (!event.target.closest('form[data-sheet="new"]')) return;
    if (event.target.name === "reference") ownReference = true;
    keep(null);
  });

  /* Forgetting also empties what was filled in from memory; what was typed over it stays. */
  document.addEventListener("click", function (event) {
    if (!event.target.closest("[data-forget]")) return;
    const known = window.countercheck.devices.all();
    const typed = window.countercheck.entries(document.querySelector('form[data-sheet="new"]'));
    rows.forEach(function (row) {
      const said = row.state === "good" && typed.rows[row.answer.id], told = said && known[row.answer.device];
      if (told) Object.keys(told).forEach(function (part) { if (said[part] === told[part]) delete said[part]; });
    });
    window.countercheck.devices.forget();
    publish(typed);
    document.querySelector("#sheet input").focus();
  });

  document.addEventListener("countercheck:filled", count);

  /* A file that misses the zone must not replace the page. */
  ["dragover", "drop"].forEach(function (kind) {
    window.addEventListener(kind, function (event) { if (document.getElementById("drop-zone")) event.preventDefault(); });
  });

  new MutationObserver(function () {
    const slot = document.getElementById("file-slot");
    if (slot && !slot.dataset.ready) prepare(slot);
  }).observe(document.documentElement, { childList: true, subtree: true });
})();
