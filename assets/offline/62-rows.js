/* The rows of the overlay: power with its peaks, difference strips with the allowance, further channels, blocks.
   analysis/figures/rows.py, strips.py and block_strip.py for a report without a server; a test holds the figures against
   each other. `frame` is what every row is drawn into, `sheet` takes traces and axes. */
"use strict";
(function () {
  const LEAST_TOP_W = 100, TOP_FRAC = 1.04, CHART_PX = 800, SHADE = 0.13, EXCESS = 0.38;
  const alone = window.countercheck.alone, held = alone.held.trial, samples = alone.samples, points = alone.points, say = held.drawing;

  function finite(values) { return Array.from(values).filter(Number.isFinite); }
  function short(values) { return Float32Array.from(values); }
  function indexOf(label) { return samples.labels.indexOf(label); }
  function styleOf(frame, label) { return frame.ink.lines[indexOf(label)]; }

  function faded(colour, opacity) {
    return "rgba(" + colour.slice(1).match(/../g).map(function (h) { return parseInt(h, 16); }).join(", ") + ", " + opacity + ")";
  }

  function axis(frame, row, more) { return Object.assign({}, frame.ink.axis, more, { domain: [row.low, row.high], anchor: "x" }); }

  function line(x, y, style, row, meta) {
    return Object.assign({ type: "scatter" }, x, {
      y: short(y), yaxis: row.axis, mode: "lines", meta: meta, hoverinfo: "skip",
      line: { color: style.colour, dash: style.dash, width: style.width_px }, connectgaps: false,
    });
  }

  /* ---- a channel as the look wants it: as recorded, means as wide as a bin, or the moving mean that was asked for */

  function lineOf(label, channel, frame) {
    const interval = samples.interval(label), fits = frame.step <= Math.max(1, interval), width = frame.look.mean_s;
    let time = samples.time(label), value = samples.values(label, channel) || new Float64Array(time.length).fill(NaN);
    if (width === null && !fits) {
      const bins = points.thin(time, value, frame.view, frame.step);
      return { x: { x0: bins.first, dx: bins.step }, y: bins.mean };
    }
    if (width !== null) {
      const around = 2 * interval + width, from = points.place(time, frame.view[0] - around), to = points.place(time, frame.view[1] + around);
      time = time.subarray(from, to);
      value = value.subarray(from, to);
      const means = window.countercheck.means;
      value = points.movingMean(means.runningOf(means.stepsOf(time, value, interval)), time, value, width);
    }
    const seen = points.samplesIn(time, value, frame.view, interval), kept = fits ? seen : points.extremes(seen.x, seen.y, frame.step);
    return { x: { x: short(kept.x) }, y: kept.y };
  }

  function power(sheet, frame, row) {
    const lines = [], shade = Math.max(frame.step, frame.look.mean_s || 1);
    let top = LEAST_TOP_W;
    frame.shown.forEach(function (label) {
      const style = styleOf(frame, label), drawn = lineOf(label, "power", frame);
      if (shade > Math.max(1, samples.interval(label))) {
        const bins = points.thin(samples.time(label), samples.values(label, "power"), frame.view, shade);
        [[bins.low, null], [bins.high, "tonexty"]].forEach(function (edge) {
          sheet.traces.push({
            type: "scatter", x0: bins.first, dx: bins.step, y: short(edge[0].map(function (v) { return v || 0; })), mode: "lines",
            line: { width: 0, shape: "hvh" }, fill: edge[1], fillcolor: faded(style.colour, SHADE), hoverinfo: "skip",
            meta: { label: label, kind: "range" },
          });
        });
        top = finite(bins.high).reduce(function (most, v) { return Math.max(most, v); }, top);
      }
      top = finite(drawn.y).reduce(function (most, v) { return Math.max(most, v); }, top);
      lines.push(line(drawn.x, drawn.y, style, row, { label: label, kind: "power" }));
    });
    sheet.traces.push.apply(sheet.traces, lines.slice(1).concat(lines.slice(0, 1))); // the reference on top
    sheet.layout["yaxis" + row.axis.slice(1)] = axis(frame, row, { range: [0, top * TOP_FRAC], nticks: 6 });
  }

  function channel(sheet, frame, kind, row) {
    let seen = [];
    frame.shown.filter(function (label) { return kind.carried.includes(label); }).forEach(function (label) {
      const drawn = lineOf(label, kind.key, frame);
      sheet.traces.push(line(drawn.x, drawn.y, styleOf(frame, label), row, { label: label, kind: kind.key }));
      seen = seen.concat(finite(drawn.y));
    });
    const least = function (a, b) { return Math.min(a, b); }, most = function (a, b) { return Math.max(a, b); };
    const low = seen.length ? seen.reduce(least) : 0, high = seen.length ? seen.reduce(most) : 1;
    const pad = Math.max(say.strips.pad_frac * (high - low), 0.5);
    sheet.layout["yaxis" + row.axis.slice(1)] = axis(frame, row, { range: [low - pad, high + pad], nticks: 4 });
  }

  /* ---- difference strips */

  function strip(label, frame) {
    const look = frame.look, both = points.difference(label, frame.against, frame.running);
    const all = look.unit === "w" ? both.watts : points.inPercent(both);
    const from = Math.max(Math.ceil(frame.view[0] - frame.step - held.start_s), 0);
    const to = Math.min(Math.ceil(frame.view[1] + frame.step - held.start_s), all.length);
    const value = all.subarray(from, to), other = both.held.subarray(from, to);
    const time = Float64Array.from(value, function (_, i) { return held.start_s + from + i; });
    const band = say.bands[frame.against][label];
    let x, drawn, there;
    if (look.mean_s === null) {
      const bins = points.thin(time, value, frame.view, frame.step);
      x = bins.mean.map(function (_, i) { return bins.first + bins.step * i; });
      drawn = bins.mean;
      there = points.thin(time, other.map(function (w, i) { return Number.isFinite(value[i]) ? w : NaN; }), frame.view, frame.step).mean;
    } else {
      const kept = points.extremes(time.map(function (t) { return t + 0.5; }), value, frame.step);
      x = kept.x;
      drawn = kept.y;
      there = x.map(function (t) { return other[Math.round(t - 0.5 - held.start_s) - from]; });
    }
    const edge = function (pct) { return Array.from(drawn, function (_, i) { return look.unit === "pct" ? pct : (there[i] / 100) * pct; }); };
    return { label: label, x: Array.from(x), drawn: Array.from(drawn), low: band && edge(band[0]), high: band && edge(band[1]), seen: finite(value) };
  }

  /* One scale for all strips: the bands and all but the wildest differences in view. */
  function limitsOf(strips, unit) {
    const least = say.strips.least[unit], most = say.strips.most[unit], frac = say.strips.wildest_frac, edges = [-least, least];
    const add = function (values) {
      const sorted = Float64Array.from(values).sort();
      if (sorted.length) edges.push(points.quantile(sorted, frac), points.quantile(sorted, 1 - frac));
    };
    strips.forEach(function (one) { [one.low, one.high].forEach(function (edge) { add(finite(edge || [])); }); });
    add([].concat.apply([], strips.map(function (one) { return one.seen; })));
    const low = Math.max(Math.min.apply(null, edges), -most), high = Math.min(Math.max.apply(null, edges), most), pad = 0.06 * (high - low);
    return [low - pad, high + pad];
  }

  /* Points of a shade without its gaps, each gap walked over at no height. */
  function closed(x, low, high) {
    const out = { x: [], low: [], high: [] };
    let before = -1;
    const put = function (t, a, b) { out.x.push(t); out.low.push(a); out.high.push(b); };
    x.forEach(function (t, i) {
      if (!Number.isFinite(low[i]) || !Number.isFinite(high[i])) return;
      if (before >= 0 && i - before > 1) { put(x[before], low[before], low[before]); put(t, low[i], low[i]); }
      put(t, low[i], high[i]);
      before = i;
    });
    return out;
  }

  function shade(sheet, x, low, high, colour, row, more) {
    const edges = closed(x, low, high);
    [[edges.low, null], [edges.high, "tonexty"]].forEach(function (edge) {
      sheet.traces.push(Object.assign({
        type: "scatter", x: short(edges.x), y: short(edge[0]), yaxis: row.axis, mode: "lines", fill: edge[1], fillcolor: colour,
        hoverinfo: "skip", line: { width: 0 },
      }, more));
    });
  }

  function band(sheet, frame, one, row) {
    if (frame.look.unit === "pct") {
      const pct = say.bands[frame.against][one.label];
      sheet.layout.shapes = (sheet.layout.shapes || []).concat([{
        type: "rect", xref: "x domain", yref: row.axis, x0: 0, x1: 1, y0: pct[0], y1: pct[1], fillcolor: frame.ink.band,
        line: { width: 0 }, layer: "below", name: "allowance " + one.label,
      }]);
      return;
    }
    const there = function (edge) { return edge.map(function (v, i) { return Number.isFinite(one.drawn[i]) ? v : NaN; }); };
    shade(sheet, one.x, there(one.low), there(one.high), frame.ink.band, row, { meta: { label: one.label, kind: "band" } });
  }

  /* What lies beyond the allowance: the part of the ride that asks for an explanation. */
  function excess(sheet, frame, one, row) {
    [[one.high, Math.max], [one.low, Math.min]].forEach(function (side) {
      const edge = side[0], beyond = one.drawn.map(function (v, i) {
        return !Number.isFinite(v) ? NaN : Number.isFinite(edge[i]) ? side[1](v, edge[i]) : v;
      });
      const any = beyond.some(function (v, i) { return Number.isFinite(v) && v !== edge[i]; });
      if (any) shade(sheet, one.x, edge, beyond, faded(styleOf(frame, one.label).colour, EXCESS), row);
    });
  }

  function strips(sheet, frame, rows) {
    const all = frame.compared.map(function (label) { return strip(label, frame); }), limits = limitsOf(all, frame.look.unit);
    const step = [2, 5, 10, 20, 50].find(function (s) { return (limits[1] - limits[0]) / s <= 5; }) || 100, ticks = [];
    for (let t = Math.ceil(limits[0] / step) * step; t <= Math.floor(limits[1]); t += step) ticks.push(t || 0);
    const words = ticks.map(function (t) { return t ? (t > 0 ? "+" : "\u2212") + Math.abs(t) : "0"; });
    all.forEach(function (one, i) {
      if (one.low) { band(sheet, frame, one, rows[i]); excess(sheet, frame, one, rows[i]); }
      sheet.traces.push(line({ x: short(one.x) }, one.drawn, styleOf(frame, one.label), rows[i], { label: one.label, kind: "difference" }));
      sheet.layout["yaxis" + rows[i].axis.slice(1)] = axis(frame, rows[i], {
        range: limits, zeroline: true, zerolinecolor: frame.ink.muted, zerolinewidth: 1, tickmode: "array", tickvals: ticks, ticktext: words,
      });
    });
  }

  /* ---- blocks */

  function blocks(sheet, frame, row) {
    const view = frame.view, ink = frame.ink, perPx = (view[1] - view[0]) / CHART_PX;
    const seen = held.blocks.filter(function (b) { return b.spans[1] > view[0] && b.spans[0] < view[1]; });
    const start = seen.map(function (b) { return Math.max(b.spans[0], view[0]); });
    const width = seen.map(function (b, i) { return Math.min(b.spans[1], view[1]) - start[i]; });
    sheet.traces.push({
      type: "bar", orientation: "h", base: start, x: width, y: seen.map(function () { return 0; }), width: 1, yaxis: row.axis,
      text: seen.map(function (b, i) { return width[i] > say.sizes.letter * perPx ? b.letter : ""; }), textangle: 0, textposition: "inside",
      insidetextanchor: "middle", constraintext: "none", hoverinfo: "skip", meta: { kind: "blocks" }, textfont: { color: ink.text, size: 12 },
      marker: {
        color: seen.map(function (b) { return b.filled ? ink.tone : "rgba(0,0,0,0)"; }), line: { color: ink.muted, width: 0.6 },
        pattern: {
          shape: seen.map(function (b) { return b.hatch; }), fgcolor: faded(ink.muted, 0.55), size: 6, solidity: 0.14, fillmode: "overlay",
        },
      },
    });
    sheet.layout["yaxis" + row.axis.slice(1)] = axis(frame, row, { range: [-0.5, 0.5], showgrid: false, showticklabels: false });
  }

  alone.rows = { power: power, strips: strips, channel: channel, blocks: blocks };
})();
