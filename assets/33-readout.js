/* The second under the cursor: every value drawn there, in the legend beside its recording, and the time. */
"use strict";
(function () {
  const THIN = "\u202f";

  function layer() { return document.getElementById("scrub-layer"); }

  function read(event) {
    const gd = window.countercheck.overlay.graph();
    if (event.pointerType === "touch" || !gd || !gd._fullData || !gd.layout.meta) return;
    const t = window.countercheck.overlay.timeAt(event.clientX), seen = window.countercheck.overlay.view();
    const cursor = layer().querySelector(".scrub-cursor");
    cursor.hidden = false;
    cursor.style.left = (100 * (t - seen[0])) / (seen[1] - seen[0]) + "%";
    const kinds = gd.layout.meta.kinds || {}, values = {};
    gd._fullData.forEach(function (trace) {
      const meta = trace.meta;
      if (!meta || !meta.label || !kinds[meta.kind] || !trace.y) return;
      const value = trace.y[indexAt(trace, t)];
      const held = (values[meta.label] = values[meta.label] || {});
      if (Number.isFinite(value)) held[meta.kind] = value;
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
  function fill(place, held, kinds) {
    const names = held ? Object.keys(kinds).filter(function (kind) { return held[kind] !== undefined; }) : [];
    if (!names.length) { place.textContent = "\u2013"; return; }
    place.textContent = names.map(function (kind) { return told(held[kind], kinds[kind]); }).join(", ");
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
    if (!layer()) return;
    layer().querySelector(".scrub-cursor").hidden = true;
    document.querySelectorAll("[data-readout], #readout-clock").forEach(function (place) { place.textContent = ""; });
  }

  window.countercheck = Object.assign(window.countercheck || {}, { readout: { read: read, hide: hide } });
})();
