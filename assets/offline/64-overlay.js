/* The overlay without a server, for any stretch and any choice: analysis/figures/overlay.py, look.py and ticks.py, drawn
   from the file's samples. A test holds the figures against each other. */
"use strict";
(function () {
  const ROUND_S = [5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200], LONGEST_S = 14400, MOST_TICKS = 9;
  const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
  const alone = window.countercheck.alone, held = alone.held.trial, points = alone.points, rows = alone.rows, say = held.drawing;
  const labels = alone.samples.labels, whole = [held.start_s, held.end_s];

  /* ---- what is drawn */

  function frameOf(look, view, ink) {
    const seen = alone.clamped(view), span = seen[1] - seen[0], against = look.against || held.reference;
    const compared = labels.filter(function (label) { return label !== against && (look.device === null || look.device === label); });
    return {
      view: seen, step: points.stepFor(span), running: look.mean_s || points.runningFor(span), look: look, ink: say.inks[ink],
      against: against, compared: compared, clock: look.axis === "clock" && say.start_utc ? say.start_utc : null,
      shown: labels.filter(function (label) { return label === against || compared.includes(label); }),
      kinds: say.rows.filter(function (kind) { return look.rows.includes(kind.key); }),
    };
  }

  /* ---- where the rows lie */

  function placed(heights) {
    const total = heights.reduce(function (sum, h) { return sum + h; }, 0) + say.sizes.gap * (heights.length - 1);
    let top = total;
    return heights.map(function (height, i) {
      const row = { axis: i ? "y" + (i + 1) : "y", low: (top - height) / total, high: top / total };
      top -= height + say.sizes.gap;
      return row;
    });
  }

  function heightsOf(frame) {
    const s = say.sizes, strip = frame.compared.length <= s.roomy ? s.strip : s.low_strip;
    return [s.power].concat(frame.compared.map(function () { return strip; }), frame.kinds.map(function () { return s.channel; }), [s.blocks]);
  }

  /* ---- the time axis: round times, or round on the clock in UTC */

  function ticksOf(frame) {
    const view = frame.view, step = ROUND_S.find(function (s) { return (view[1] - view[0]) / s <= MOST_TICKS; }) || LONGEST_S, ticks = [];
    const zero = frame.clock ? ofDay(new Date(frame.clock)) : 0;
    for (let i = Math.ceil((view[0] + zero) / step); i <= Math.floor((view[1] + zero) / step); i += 1) ticks.push(step * i - zero);
    return ticks;
  }

  function ofDay(at) { return at.getUTCHours() * 3600 + at.getUTCMinutes() * 60 + at.getUTCSeconds(); }

  function wordsOf(ticks, clock) {
    if (!clock) return ticks.map(window.countercheck.overlay.clock);
    const at = ticks.map(function (t) { return new Date(Date.parse(clock) + 1000 * t); }), two = function (n) { return String(n).padStart(2, "0"); };
    const seconds = at.some(function (one) { return one.getUTCSeconds(); });
    return at.map(function (one) {
      if (!ofDay(one)) return MONTHS[one.getUTCMonth()] + " " + one.getUTCDate();
      const parts = [one.getUTCHours(), one.getUTCMinutes()].concat(seconds ? [one.getUTCSeconds()] : []);
      return parts.map(two).join(":");
    });
  }

  /* ---- names of the rows */

  function escaped(text) {
    return text.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;").replace(/"/g, "&quot;").replace(/'/g, "&#x27;");
  }

  function shortened(name) {
    const letters = Array.from(name), most = say.strips.letters;
    return letters.length <= most ? name : letters.slice(0, most - 1).join("").replace(/[ ,]+$/, "") + "…";
  }

  function namesOf(frame) {
    const look = frame.look, thinned = Math.max(frame.step, look.mean_s || 1) > 1;
    const smooth = look.mean_s ? "moving mean of " + look.mean_s + " s" : thinned ? "means of " + frame.step + " s" : "every sample";
    const width = frame.running > 1 ? ", mean of " + frame.running + " s" : "";
    const strips = frame.compared.map(function (label) {
      return shortened(label) + " minus " + shortened(frame.against) + " [" + say.strips.unit[look.unit] + "]" + width;
    });
    const kinds = frame.kinds.map(function (kind) { return kind.name + " [" + kind.unit + "]"; });
    return ["power [W], " + smooth].concat(strips, kinds, [frame.clock ? "blocks; clock time in UTC" : "blocks"]);
  }

  function metaOf(frame) {
    const kinds = { power: { unit: "W", digits: 0 }, difference: { unit: say.strips.unit[frame.look.unit], digits: 1, signed: true } };
    frame.kinds.forEach(function (kind) { kinds[kind.key] = { unit: kind.unit, digits: kind.digits }; });
    return {
      view: frame.view, step_s: frame.step, mean_s: frame.look.mean_s, running_s: frame.running, whole: whole, kinds: kinds,
      start_utc: say.start_utc, axis: frame.clock ? "clock" : "elapsed",
    };
  }

  /* `look` is the screen; `view` the stretch, null for all of it; `ink` light or dark. */
  function overlay(look, view, ink) {
    const frame = frameOf(look, view, ink), places = placed(heightsOf(frame)), n = frame.compared.length, ticks = ticksOf(frame);
    const sheet = { traces: [], layout: { barmode: "overlay", bargap: 0, meta: metaOf(frame) } };
    sheet.layout.xaxis = Object.assign({}, frame.ink.axis, {
      range: frame.view, tickvals: ticks, ticktext: wordsOf(ticks, frame.clock), tickangle: 0, anchor: places[places.length - 1].axis, side: "bottom",
    });
    rows.power(sheet, frame, places[0]);
    rows.strips(sheet, frame, places.slice(1, 1 + n));
    frame.kinds.forEach(function (kind, i) { rows.channel(sheet, frame, kind, places[1 + n + i]); });
    rows.blocks(sheet, frame, places[places.length - 1]);
    sheet.layout.annotations = namesOf(frame).map(function (name, i) {
      return {
        text: escaped(name), xref: "x domain", yref: "paper", x: 0, y: places[i].high, xanchor: "left", yanchor: "bottom", yshift: 3,
        showarrow: false, font: { size: 12, color: frame.ink.muted },
      };
    });
    const m = say.sizes.margin, gaps = say.sizes.gap * (places.length - 1);
    const height = heightsOf(frame).reduce(function (sum, h) { return sum + h; }, 0) + gaps + m.t + m.b;
    return { data: sheet.traces, layout: Object.assign(JSON.parse(JSON.stringify(frame.ink.blank)), { height: height }, sheet.layout) };
  }

  alone.overlay = overlay;
})();
