/* The interval card without a server: app/views/interval.py in the browser, word for word. The figures come from
   30-judging.js and 35-within.js; names, marks of blocks and allowances come with the file, their texts escaped already. */
"use strict";
(function () {
  const NOTHING = "\u2013", THIN = "\u202f";
  const MARKS = { within: "\u25cf", outside: "\u25b2", unsettled: "\u25c7" };
  const alone = window.countercheck.alone, held = alone.held.trial, fixed = window.countercheck.judging.fixed;
  let trial = null;

  /* Sums over all samples once, at the first question. */
  function ready() {
    trial = trial || {
      edges_s: held.edges_s,
      devices: held.devices.map(function (device) { return Object.assign({ pair: alone.samples.pair(device.label, held.reference) }, device); }),
    };
    return trial;
  }

  /* ---- numbers as app/wording.py prints them */

  function escaped(text) {
    return String(text).replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;").replace(/"/g, "&quot;").replace(/'/g, "&#x27;");
  }
  function number(value, digits) { return value === null ? NOTHING : fixed(value, digits === undefined ? 1 : digits).replace("-", "\u2212"); }
  function signed(value, digits) {
    if (value === null) return NOTHING;
    const text = fixed(value, digits === undefined ? 1 : digits);
    if (Number(text) === 0) return text.replace("-", "");
    return value < 0 ? text.replace("-", "\u2212") : "+" + text;
  }
  function span(limits) { return limits ? signed(limits[0]) + " to " + signed(limits[1]) : NOTHING; }
  function spanOrShort(limits, reason) { return reason.startsWith("The stretch is too short") ? NOTHING + " too short" : span(limits); }
  function withUnit(text, unit) { return text.startsWith(NOTHING) ? text : text + THIN + unit; }
  function even(value) { return Number(fixed(value, 0)); }

  function clock(time) {
    const whole = even(Math.abs(time)), pad = function (n) { return String(n).padStart(2, "0"); };
    const hours = Math.floor(whole / 3600), minutes = Math.floor(whole / 60) % 60, sign = time < 0 && whole ? "\u2212" : "";
    return sign + (hours ? hours + ":" + pad(minutes) : minutes) + ":" + pad(whole % 60);
  }

  function length(duration) {
    const whole = even(duration);
    const parts = [[Math.floor(whole / 3600), "h"], [Math.floor(whole / 60) % 60, "min"], [whole % 60, "s"]];
    return parts.filter(function (p) { return p[0]; }).map(function (p) { return p[0] + THIN + p[1]; }).join(" ") || "0" + THIN + "s";
  }

  /* ---- the range mark of app/views/parts.py */

  function limitsOf(entries) {
    const edges = [-2, 2];
    entries.forEach(function (entry) {
      [entry.allowance_pct, entry.delta_pct_ci].forEach(function (limits) {
        (limits || []).forEach(function (edge) { edges.push(Math.max(-60, Math.min(60, edge))); });
      });
    });
    const low = Math.min.apply(null, edges), high = Math.max.apply(null, edges), pad = 0.08 * (high - low);
    return [low - pad, high + pad];
  }

  function rangeMark(entry, limits) {
    const share = function (value) { return (100 * (Math.min(Math.max(value, limits[0]), limits[1]) - limits[0])) / (limits[1] - limits[0]); };
    const stretch = function (name, ends) {
      const left = share(ends[0]), width = Math.max(share(ends[1]) - left, 0.4);
      return '<span class="' + name + '" style="left: ' + left.toFixed(2) + "%; width: " + width.toFixed(2) + '%"></span>';
    };
    const at = function (name, value) { return '<span class="' + name + '" style="left: ' + share(value).toFixed(2) + '%"></span>'; };
    const pieces = [stretch("band", entry.allowance_pct), at("zero", 0)];
    if (entry.delta_pct_ci) pieces.push(stretch("whisker", entry.delta_pct_ci));
    if (entry.delta_pct !== null) pieces.push(at("dot", entry.delta_pct));
    const words = "delta " + withUnit(signed(entry.delta_pct), "%") + ", allowance " + withUnit(span(entry.allowance_pct), "%");
    return '<span class="range-mark ' + entry.verdict + '" role="img" aria-label="' + words + '">' + pieces.join("") + "</span>";
  }

  /* ---- the card */

  function about(window_) {
    const near = function (a, b) { return Math.abs(a[0] - b[0]) < 0.5 && Math.abs(a[1] - b[1]) < 0.5; };
    if (window_) {
      const one = held.blocks.find(function (b) { return near(window_, b.selects) || near(window_, b.spans); });
      if (one) return one.about;
    }
    const touched = held.blocks.filter(function (b) { return !window_ || (b.spans[1] > window_[0] && b.spans[0] < window_[1]); });
    const count = function (n) { return n === 1 ? "one block" : n + " blocks"; };
    const out = touched.filter(function (b) { return b.excluded; }).length;
    const edited = touched.filter(function (b) { return b.edited && !b.excluded; }).length;
    const told = (edited ? [count(edited) + " edited by hand"] : []).concat(out ? [count(out) + " excluded, but counted here"] : []);
    return told.length ? '<p class="card-block small">In it: ' + told.join(", ") + ".</p>" : "";
  }

  /* ---- folded below a device: peaks, cadence, lag, drop-outs */

  function cadence(one) { return one.cadence_rpm === null ? "not recorded" : withUnit(number(one.cadence_rpm, 0), "rpm"); }
  function lost(one) {
    const runs = one.lost_runs === 1 ? "one run" : one.lost_runs + " runs";
    return one.lost_runs ? withUnit(String(one.lost_s), "s") + " in " + runs : "none";
  }
  function listed(pairs) { return pairs.map(function (p) { return "<dt>" + escaped(p[0]) + "</dt><dd>" + p[1] + "</dd>"; }).join(""); }

  function peaks(one) {
    if (!one.peaks.length) return '<p class="small">No second that both cover, so no peak.</p>';
    const head = ["best", "W", "\u0394 W", "\u0394 %"].map(function (name, i) { return "<th" + (i ? ' class="num"' : "") + ' scope="col">' + name + "</th>"; });
    const rows = one.peaks.map(function (p) {
      const cells = [number(p.best_w, 0), signed(p.delta_w, 0), signed(p.delta_pct)];
      return '<tr><th scope="row">' + withUnit(String(p.duration_s), "s") + "</th>" +
        cells.map(function (text) { return '<td class="num">' + text + "</td>"; }).join("") + "</tr>";
    });
    return '<table class="card-peaks"><caption class="hidden-text">Best means in the interval, each device&#x27;s own</caption><thead><tr>' +
      head.join("") + "</tr></thead><tbody>" + rows.join("") + "</tbody></table>";
  }

  function fold(one, index, lag) {
    return '<details data-fold="card-' + index + '"><summary>Peaks, cadence, lag, drop-outs</summary>' + peaks(one) + "<dl>" +
      listed([["cadence", cadence(one)], ["drop-outs", lost(one)], ["response lag", escaped(lag)]]) + "</dl>" +
      '<p class="small">The lag is a property of the device, found over the whole trial; not of this interval.</p></details>';
  }

  function device(entry, limits, reference, folded) {
    const name = held.named[entry.label], own = number(entry.reference_mean_w);
    const pairs = [
      ["95 % interval", withUnit(spanOrShort(entry.delta_pct_ci, entry.reason), "%")],
      ["allowance, worst", withUnit(span(entry.allowance_pct), "%")],
      ["allowance, likely", withUnit(span(entry.likely_allowance_pct), "%")],
      ["in watts", withUnit(signed(entry.delta_w), "W")],
      ["95 % interval", withUnit(spanOrShort(entry.delta_w_ci, entry.reason), "W")],
    ];
    if (entry.reference_mean_w !== null && own !== number(reference)) pairs.push([held.reference + " meanwhile", withUnit(own, "W")]);
    const mark = '<span class="mark" aria-hidden="true">' + MARKS[entry.verdict] + "</span>";
    return '<div class="card-device"><div class="card-row">' + name + '<span class="card-mean">' + withUnit(number(entry.mean_w), "W") +
      '</span></div><div class="card-row"><span class="verdict ' + entry.verdict + '" title="' + escaped(entry.reason) + '">' + mark + entry.verdict +
      '</span><strong class="card-delta">' + withUnit(signed(entry.delta_pct), "%") + "</strong></div>" + rangeMark(entry, limits) +
      "<dl>" + listed(pairs) + '</dl><p class="small reason">' + escaped(entry.reason) + "</p>" + folded + "</div>";
  }

  /* HTML of the card for an interval, null for the whole trial. */
  function card(window_) {
    const ends = window_ || [held.start_s, held.end_s];
    const judged = window.countercheck.judging.judge(ready(), ends[0], ends[1]);
    const there = judged.map(function (j) { return j.reference_mean_w; }).filter(function (w) { return w !== null; });
    const reference = there.length ? there[0] : null, limits = limitsOf(judged);
    const head = '<p class="overline">' + (window_ ? "Interval" : "Whole trial") + '</p><p class="card-span"><span class="stretch">' + clock(ends[0]) +
      '<span aria-hidden="true">\u2013</span><span class="hidden-text"> to </span>' + clock(ends[1]) + '</span></p><p class="small">' +
      length(ends[1] - ends[0]) + "</p>" + about(window_);
    const first = '<div class="card-row">' + held.named[held.reference] + '<span class="small">reference</span><span class="card-mean">' +
      withUnit(number(reference), "W") + "</span></div>";
    const own = alone.within(held.reference, ends[0], ends[1]), gone = own.lost_s ? ", " + withUnit(String(own.lost_s), "s") + " lost" : "";
    const aside = '<p class="small card-aside">cadence ' + cadence(own) + gone + "</p>";
    const rows = judged.map(function (entry, i) {
      return device(entry, limits, reference, fold(alone.within(entry.label, ends[0], ends[1]), i + 1, held.devices[i].lag));
    });
    return '<div data-window="' + ends[0].toFixed(3) + " " + ends[1].toFixed(3) + '">' + head + first + aside + rows.join("") + "</div>";
  }

  alone.card = card;
})();
