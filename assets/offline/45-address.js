/* What a report without a server opens with, from its own address: app/screen.py's from_query and fitted, and what
   app/showing.py makes of them, in the browser. The figure then bears it as data-screen, as a server's page would;
   31-screen.js keeps it from there on. */
"use strict";
(function () {
  const MEANS_S = [1, 3, 10, 30], ROWS = ["cadence", "heart_rate", "temperature", "balance"], MAX_TIME_S = 1e8, MIN_WINDOW_S = 1;
  const NUMBER = /^\s*[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?\s*$/i;
  const held = window.countercheck.alone.held.trial, labels = held.recordings.map(function (one) { return one.label; });

  function interval(ends) {
    if (ends.length !== 2 || !ends.every(function (end) { return end !== null && NUMBER.test(end); })) return null;
    const at = ends.map(Number);
    return at.every(function (t) { return Math.abs(t) <= MAX_TIME_S; }) && at[0] < at[1] ? at : null;
  }

  /* The part of a window that lies in the trial; null, the whole trial, where nothing of it does. */
  function inside(window_) {
    if (!window_) return null;
    const from = Math.max(window_[0], held.start_s), to = Math.min(window_[1], held.end_s);
    return to - from < MIN_WINDOW_S || (from === held.start_s && to === held.end_s) ? null : [from, to];
  }

  /* The stretch that is drawn for a view: inside the trial, not shorter than can be seen; all of it for null. */
  function clamped(view) {
    if (!view) return [held.start_s, held.end_s];
    const least = held.drawing.points.least_view_s, middle = (view[0] + view[1]) / 2;
    const span = Math.min(Math.max(view[1] - view[0], least), held.end_s - held.start_s);
    const start = Math.min(Math.max(middle - span / 2, held.start_s), held.end_s - span);
    return [start, start + span];
  }

  /* Null for the whole trial, as scripts compare it with what is drawn. */
  function inView(view) {
    const drawn = clamped(view);
    return drawn[0] === held.start_s && drawn[1] === held.end_s ? null : drawn;
  }

  /* Unknown keys are ignored, nonsense is the default. */
  function screenOf(search) {
    const said = new URLSearchParams(search), mean = Number(said.get("mean")), named = (said.get("rows") || "").split(",");
    const against = labels.slice(1).includes(said.get("against")) ? said.get("against") : null;
    const device = labels.includes(said.get("device")) && said.get("device") !== (against || labels[0]) ? said.get("device") : null;
    return {
      window: inside(interval([said.get("from"), said.get("to")])), view: inView(interval((said.get("view") || "").split(","))),
      device: device, against: against, unit: said.get("unit") === "w" ? "w" : "pct", mean_s: MEANS_S.includes(mean) ? mean : null,
      rows: ROWS.filter(function (row) { return named.includes(row); }), axis: said.get("axis") === "clock" ? "clock" : "elapsed",
    };
  }

  const screen = screenOf(window.location.search), layer = document.getElementById("scrub-layer");
  document.querySelector("[data-screen]").dataset.screen = JSON.stringify(screen);
  if (screen.window) {
    layer.dataset.from = String(screen.window[0]);
    layer.dataset.to = String(screen.window[1]);
  }
  Object.assign(window.countercheck.alone, { screenOf: screenOf, clamped: clamped });
})();
