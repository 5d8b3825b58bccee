/* Files in: drop or pick, one request per file, progress and outcome for each; what was said of a device is remembered. */
"use strict";
(function () {
  const REMEMBERED = "countercheck.devices";
  const AT_ONCE = 2; // the server reads two at a time
  const SETUP_MAX_BYTES = 200000;
  const TIMEOUT_MS = 180000;
  let rows = []; // {file, name, state: waiting|sending|good|refused, answer, element}
  let busy = 0;

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
      take(Array.from(input.files));
      input.value = ""; // the same file may be picked again after it was removed
    });
    return [button, input];
  }

  function prepare(slot) {
    slot.dataset.ready = "yes";
    rows = [];
    busy = 0;
    slot.append(...picker("Choose files", false), ...picker("Choose a folder", true));
    const zone = document.getElementById("drop-zone");
    zone.addEventListener("dragover", function (event) { event.preventDefault(); zone.classList.add("over"); });
    zone.addEventListener("dragleave", function () { zone.classList.remove("over"); });
    zone.addEventListener("drop", function (event) {
      event.preventDefault();
      zone.classList.remove("over");
      gather(event.dataTransfer).then(take);
    });
  }

  /* A folder dropped onto the page holds its files behind an older interface; plain files come as they are. */
  function gather(transfer) {
    const entries = Array.from(transfer.items || []).map(function (item) {
      return item.webkitGetAsEntry ? item.webkitGetAsEntry() : null;
    });
    if (!entries.some(function (entry) { return entry && entry.isDirectory; })) return Promise.resolve(Array.from(transfer.files));
    return Promise.all(entries.filter(Boolean).map(filesIn)).then(function (lists) { return lists.flat(); });
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
    files.filter(function (file) { return !file.name.startsWith("."); }).forEach(function (file) {
      if (/\.toml$/i.test(file.name)) return takeSetup(file);
      const row = { file: file, name: file.name, state: "waiting" };
      rows.push(row);
      show(row);
    });
    send();
  }

  function takeSetup(file) {
    const row = { name: file.name, state: "setup" };
    rows = rows.filter(function (other) { if (other.state === "setup") other.element.remove(); return other.state !== "setup"; });
    rows.push(row);
    if (file.size > SETUP_MAX_BYTES) { row.state = "refused"; row.answer = { error: file.name + " is too large for a set-up file." }; return show(row); }
    file.text().then(function (text) {
      window.dash_clientside.set_props("setup-text", { data: text });
      row.answer = { about: "set-up file, used to fill in the sheet" };
      show(row);
    });
  }

  function send() {
    const row = rows.find(function (one) { return one.state === "waiting"; });
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
    if (answer && answer.recordings) {
      unpack(row, answer.recordings.concat(answer.errors));
    } else {
      if (!answer || !(answer.id || answer.error || answer.trial)) {
        answer = { error: row.name + " did not arrive; check the connection and add it again." };
      }
      settle(row, answer);
    }
    publish();
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
    if (twin) answer = { error: row.name + " is the same file as " + twin.name + ", which is here already; it was left out." };
    row.state = answer.error ? "refused" : answer.trial ? "whole" : "good";
    row.answer = answer;
    show(row, before);
  }

  function publish() {
    const known = remembered();
    const good = rows.filter(function (row) { return row.state === "good"; }).map(function (row) {
      return Object.assign({}, row.answer, { remembered: known[row.answer.label_guess] || null });
    });
    const typed = window.countercheck.entries(document.querySelector('form[data-sheet="new"]'));
    window.dash_clientside.set_props("uploads", { data: { files: good, typed: typed } });
  }

  function about(row) {
    const answer = row.answer;
    if (row.state === "refused") return answer.error;
    if (row.state === "setup") return answer ? answer.about : "";
    if (row.state === "whole") return wholeTrial(answer.trial);
    const minutes = Math.round(answer.duration_s / 60);
    const start = answer.start_utc ? answer.start_utc.slice(0, 16).replace("T", " ") + " UTC, " : "";
    const notes = (answer.warnings || []).join(" ");
    return start + minutes + " min, " + answer.samples + " samples. " + notes;
  }

  /* What was taken away from another server as everything.zip; nothing of it is kept before it is opened. */
  function wholeTrial(trial) {
    const words = [trial.title ? "a whole trial, “" + trial.title + "”" : "a whole trial", trial.recordings.join(", ")];
    if (trial.versions > 1) words.push(trial.versions + " versions of its set-up");
    if (trial.notes) words.push(trial.notes === 1 ? "1 note" : trial.notes + " notes");
    if (trial.deltas_hidden) words.push("deltas hidden until its blocks are frozen");
    return words.join("; ") + ". ";
  }

  function opener(row) {
    const button = make("button", "primary", "Open as a trial of your own");
    button.type = "button";
    button.addEventListener("click", function () {
      button.disabled = true;
      fetch("/import", {
        method: "POST",
        body: row.file,
        headers: { "X-Requested-With": "countercheck", "X-File-Name": encodeURIComponent(row.name), "Content-Type": "application/zip" },
      }).then(function (response) { return response.json(); }).then(function (answer) {
        if (answer.path) return window.location.assign(answer.path);
        settle(row, answer);
      }).catch(function () {
        settle(row, { error: row.name + " did not arrive; check the connection and add it again." });
      });
    });
    return button;
  }

  function show(row, before) {
    const list = document.getElementById("file-list");
    if (!list) return;
    const element = make("div", "file-row " + row.state);
    element.setAttribute("role", "listitem");
    element.append(make("span", "file-name", row.name));
    if (row.state === "waiting" || row.state === "sending") {
      const outcome = make("span", "file-outcome");
      row.bar = make("progress");
      row.bar.max = 1;
      row.bar.value = 0;
      row.bar.setAttribute("aria-label", "upload of " + row.name);
      row.words = make("span", "small", row.state === "waiting" ? "waiting" : "sending");
      outcome.append(row.bar, " ", row.words);
      element.append(outcome);
    } else {
      const outcome = make("span", "file-outcome", about(row));
      if (row.state === "whole") outcome.append(opener(row));
      element.append(outcome);
    }
    const remove = make("button", "quiet", "Remove");
    remove.type = "button";
    remove.setAttribute("aria-label", "Remove " + row.name);
    remove.addEventListener("click", function () { drop(row); });
    element.append(remove);
    if (row.element && row.element.isConnected) row.element.replaceWith(element);
    else list.insertBefore(element, before || null);
    row.element = element;
  }

  function drop(row) {
    rows = rows.filter(function (other) { return other !== row; });
    if (row.request && row.state === "sending") row.request.abort();
    if (row.state === "setup") window.dash_clientside.set_props("setup-text", { data: null });
    row.element.remove();
    publish();
  }

  window.addEventListener("countercheck:sent", function (event) {
    if (event.detail.sheet !== "new") return;
    const known = remembered();
    rows.forEach(function (row) {
      if (row.state === "good") known[row.answer.label_guess] = event.detail.entries.rows[row.answer.id];
    });
    try { window.localStorage.setItem(REMEMBERED, JSON.stringify(known)); } catch (blocked) { /* then nothing is remembered */ }
  });

  function remembered() {
    try { return JSON.parse(window.localStorage.getItem(REMEMBERED)) || {}; } catch (blocked) { return {}; }
  }

  /* A file that misses the zone must not replace the page. */
  ["dragover", "drop"].forEach(function (kind) {
    window.addEventListener(kind, function (event) { if (document.getElementById("drop-zone")) event.preventDefault(); });
  });

  new MutationObserver(function () {
    const slot = document.getElementById("file-slot");
    if (slot && !slot.dataset.ready) prepare(slot);
  }).observe(document.documentElement, { childList: true, subtree: true });
})();
