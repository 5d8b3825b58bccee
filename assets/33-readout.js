/* The second under the cursor: every value drawn there, in the legend beside its recording, and the time. */
"use strict";
(function () {
  const THIN = "\u202f";

  function layer() { return document.getElementById("scrub-layer"); }

  let held = null; // what is read: the place of a pointer that hovers, or a time that was asked for

  /* A pointer that hovers stays where it is when another stretch is drawn; what a finger or a key asked for moves along. */
  function read(event) {
    const t = window.countercheck.overlay.timeAt(event.clientX);
    show(t);
    held = event.pointerType === "touch" ? { t: t } : { x: event.clientX };
  }

  function at(t) {
    show(t);
    held = { t: t };
  }

  function show(t) {
    const gd = window.countercheck.overlay.graph();
    if (!gd || !gd._fullData || !gd.layout.meta || !layer()) return;
    const seen = window.countercheck.overlay.view();
    const cursor = layer().querySelector(".scrub-cursor");
    cursor.hidden = t < seen[0] || t > seen[1];
    cursor.style.left = (100 * (t - seen[0])) / (seen[1] - seen[0]) + "%";
    const kinds = gd.layout.meta.kinds || {}, values = {};
    gd._fullData.forEach(function (trace) {
      const meta = trace.meta;
      if (!meta || !meta.label || !kinds[meta.kind] || !trace.y) return;
      const value = trace.y[indexAt(trace, t)];
      const found = (values[meta.label] = values[meta.label] || {});
      if (Number.isFinite(value)) found[meta.kind] = value;
    });
    document.querySelectorAll("[data-readout]").forEach(function (place) { fill(place, values[place.dataset.readout], kinds); });
    document.getElementById("readout-clock").textContent = when(t, gd.layout.meta);
  }

  /* Bins come with start and step, samples with their own times (plotly fills x in for bins, too). */
  function indexAt(trace, t) {
    const x = trace.x;
    if (!x || !x.length) return Math.round((t - trace.x0) / trace.dx);
    let low = 0, high = x.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (x[middle] <= t) low = middle; else high = middle;
    }
    return t - x[low] <= x[high] - t ? low : high;
  }

  /* One cell per kind of value, in the order of the rows, so that figures stand below each other and do not jump. */
  function fill(place, found, kinds) {
    const names = found ? Object.keys(kinds).filter(function (kind) { return found[kind] !== undefined; }) : [];
    if (!names.length) { place.textContent = "\u2013"; return; }
    place.textContent = names.map(function (kind) { return told(found[kind], kinds[kind]); }).join(", ");
  }

  function told(value, kind) {
    const digits = Math.abs(value).toFixed(kind.digits);
    const sign = value < 0 && Number(digits) ? "\u2212" : kind.signed && Number(digits) ? "+" : "";
    return sign + digits + THIN + kind.unit;
  }

  function when(t, meta) {
    const width = meta.mean_s || meta.step_s;
    const mean = width > 1 ? ", mean of " + width + " s" : "";
    if (meta.axis !== "clock") return "at " + window.countercheck.overlay.clock(t) + mean;
    const at = new Date(Date.parse(meta.start_utc) + 1000 * t);
    const here = at.getTimezoneOffset() ? ", " + time(at, false) + " your time" : "";
    return "at " + time(at, true) + " UTC" + here + mean;
  }

  function time(at, utc) {
    const two = function (n) { return String(n).padStart(2, "0"); };
    return utc ? [at.getUTCHours(), at.getUTCMinutes(), at.getUTCSeconds()].map(two).join(":")
      : [at.getHours(), at.getMinutes(), at.getSeconds()].map(two).join(":");
  }

  function hide() {
    held = null;
    if (!layer()) return;
    layer().querySelector(".scrub-cursor").hidden = true;
    document.querySelectorAll("[data-readout], #readout-clock").forEach(function (place) { place.textContent = ""; });
  }

  document.addEventListener("countercheck:placed", function () {
    if (held) show(held.x === undefined ? held.t : window.countercheck.overlay.timeAt(held.x));
  });

  window.countercheck = Object.assign(window.countercheck || {}, { readout: { read: read, at: at, hide: hide } });
})();
