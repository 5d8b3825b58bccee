/* One file's line while it comes in: name, bar, then what it is, or the sentence why not; remove, try again. */
"use strict";
(function () {
  const UNITS = /_(degc|frac|bpm|rpm|mps|w|m|j|mm|deg)$/;
  const MOST_CHANNELS = 5; // the sheet names all of them

  function make(tag, className, text) {
    const element = document.createElement(tag);
    if (className) element.className = className;
    if (text) element.textContent = text;
    return element;
  }

  function length(seconds) {
    const minutes = Math.round(seconds / 60);
    return minutes < 60 ? minutes + " min" : Math.floor(minutes / 60) + " h " + (minutes % 60) + " min";
  }

  function channels(names) {
    const words = names.map(function (name) { return name.replace(UNITS, "").replace(/_/g, " "); });
    const more = words.length - MOST_CHANNELS;
    return words.slice(0, MOST_CHANNELS).join(", ") + (more > 0 ? " and " + more + " more" : "");
  }

  function facts(answer) {
    const start = answer.start_utc ? answer.start_utc.slice(0, 16).replace("T", " ") + " UTC" : "no date";
    const device = answer.label_guess + (answer.point_guess ? ", at the " + answer.point_guess : "");
    return [device, answer.format.toUpperCase(), length(answer.duration_s), start, channels(answer.channels)].join(" · ");
  }

  /* What was taken away from another server as everything.zip; nothing of it is kept before it is opened. */
  function wholeTrial(trial) {
    const words = [trial.title ? "a whole trial, “" + trial.title + "”" : "a whole trial", trial.recordings.join(", ")];
    if (trial.versions > 1) words.push(trial.versions + " versions of its set-up");
    if (trial.notes) words.push(trial.notes === 1 ? "1 note" : trial.notes + " notes");
    if (trial.deltas_hidden) words.push("deltas hidden until its blocks are frozen");
    return words.join("; ") + ". ";
  }

  function opener(row, acts) {
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
        acts.settle(row, answer);
      }).catch(function () {
        acts.settle(row, { error: row.name + " did not arrive; check the connection and try again." });
      });
    });
    return button;
  }

  function outcome(row, acts) {
    const told = make("div", "file-outcome");
    if (row.state === "waiting" || row.state === "sending") {
      row.bar = make("progress");
      row.bar.max = 1;
      row.bar.value = 0;
      row.bar.setAttribute("aria-label", "upload of " + row.name);
      row.words = make("span", "small", row.said || (row.state === "waiting" ? "waiting" : "sending"));
      told.append(row.bar, " ", row.words);
    } else if (row.state === "refused") {
      told.textContent = row.answer.error;
    } else if (row.state === "whole") {
      told.append(wholeTrial(row.answer.trial), opener(row, acts));
    } else if (row.state === "setup") {
      told.textContent = row.answer ? row.answer.about : "";
    } else {
      told.append(make("span", "", facts(row.answer)));
      if ((row.answer.warnings || []).length) told.append(make("span", "file-warnings", row.answer.warnings.join(" ")));
    }
    return told;
  }

  function button(words, name, act) {
    const one = make("button", "quiet", words);
    one.type = "button";
    one.setAttribute("aria-label", words + " " + name);
    one.addEventListener("click", act);
    return one;
  }

  /* `acts`: what the buttons do with the row. A twin stays a twin, and a file out of an archive is not at hand alone. */
  function fileRow(row, acts) {
    const element = make("div", "file-row " + row.state);
    element.setAttribute("role", "listitem");
    const buttons = make("span", "file-buttons");
    if (row.state === "refused" && row.file && !row.answer.twin) {
      buttons.append(button("Try again", row.name, function () { acts.again(row); }));
    }
    buttons.append(button("Remove", row.name, function () { acts.drop(row); }));
    element.append(make("span", "file-name", row.name), outcome(row, acts), buttons);
    return element;
  }

  window.countercheck = Object.assign(window.countercheck || {}, { fileRow: fileRow });
})();
