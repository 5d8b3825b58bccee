/* A closer look at the overlay without a server: lines and strips of the stretch in view made anew from the samples, as
   analysis/figures/thinning.py and rows.py make them. Pictures only; no figure that is stated comes from here. */
"use strict";
(function () {
  const MAX_POINTS = 480, MAX_HOLD_INTERVALS = 1.5, LETTER_PX = 14, CHART_PX = 800, MAX_TICKS = 9, MIN_VIEW_S = 20, LEAST_TOP_W = 100;
  const STEPS = [1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600];
  const TICKS = [5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200];
  const alone = window.countercheck.alone, held = alone.held.trial;

  function stepFor(span) { return STEPS.find(function (s) { return span / s <= MAX_POINTS; }) || 600 * Math.ceil(span / MAX_POINTS / 600); }

  function firstAt(time, when) {
    let low = 0, high = time.length;
    while (low < high) { const middle = (low + high) >> 1; if (time[middle] < when) low = middle + 1; else high = middle; }
    return low;
  }

  /* Mean, lowest and highest sample of each bin; null where a bin is empty. */
  function thin(time, value, view, step) {
    const begin = Math.floor(view[0] / step) * step, n = Math.max(1, Math.ceil((view[1] - begin) / step));
    const bins = Array.from({ length: n }, function () { return { count: 0, sum: 0, low: Infinity, high: -Infinity }; });
    for (let i = firstAt(time, begin); i < time.length && time[i] < begin + n * step; i += 1) {
      const bin = bins[Math.floor((time[i] - begin) / step)];
      if (!bin || !Number.isFinite(value[i])) continue;
      bin.count += 1;
      bin.sum += value[i];
      bin.low = Math.min(bin.low, value[i]);
      bin.high = Math.max(bin.high, value[i]);
    }
    const told = function (of) { return bins.map(function (bin) { return bin.count ? of(bin) : null; }); };
    return {
      x0: begin + step / 2, dx: step, mean: told(function (b) { return b.sum / b.count; }),
      low: told(function (b) { return b.low; }), high: told(function (b) { return b.high; }),
    };
  }

  /* The samples themselves, to one beyond the view; a break where two lie too far apart to be joined. */
  function samples(time, value, view, interval) {
    const x = [], y = [], last = Math.min(firstAt(time, view[1]) + 1, time.length);
    for (let i = Math.max(firstAt(time, view[0]) - 1, 0); i < last; i += 1) {
      if (x.length && time[i] - x[x.length - 1] > MAX_HOLD_INTERVALS * interval) { x.push((x[x.length - 1] + time[i]) / 2); y.push(null); }
      x.push(time[i]);
      y.push(Number.isFinite(value[i]) ? value[i] : null);
    }
    return { x: x, y: y };
  }

  const unpacked = {};
  function recording(label) {
    if (!unpacked[label]) {
      const r = held.recordings.find(function (one) { return one.label === label; });
      unpacked[label] = {
        time: alone.numbers(r.time_s), value: alone.numbers(r.power_w), interval: r.interval_s,
        difference: r.difference_pct ? alone.numbers(r.difference_pct) : null,
      };
    }
    return unpacked[label];
  }

  function secondsOfTrial() {
    if (!unpacked[""]) unpacked[""] = Float64Array.from({ length: held.end_s - held.start_s }, function (_, i) { return held.start_s + i; });
    return unpacked[""];
  }

  /* ---- what a trace of the overview becomes */

  function power(trace, view, step) {
    const r = recording(trace.meta.label);
    if (step <= Math.max(1, r.interval)) {
      const s = samples(r.time, r.value, view, r.interval);
      delete trace.x0;
      delete trace.dx;
      return Object.assign(trace, { x: s.x, y: s.y });
    }
    const bins = thin(r.time, r.value, view, step);
    return Object.assign(trace, { x0: bins.x0, dx: bins.dx, y: bins.mean });
  }

  function range(trace, view, step) {
    const r = recording(trace.meta.label);
    if (step <= Math.max(1, r.interval)) return null;
    const bins = thin(r.time, r.value, view, step);
    return Object.assign(trace, { x0: bins.x0, dx: bins.dx, y: (trace.fill ? bins.high : bins.low).map(function (v) { return v || 0; }) });
  }

  function difference(trace, view, step) {
    const bins = thin(secondsOfTrial(), recording(trace.meta.label).difference, view, step);
    const device = held.devices.find(function (one) { return one.label === trace.meta.label; });
    const beyond = device.allowance_pct.map(function (edge, i) {
      const far = bins.mean.map(function (v) { return v === null ? edge : i ? Math.max(v, edge) : Math.min(v, edge); });
      return [bins.mean.map(function () { return edge; }), far].map(function (y, j) {
        const colour = trace.line.color.slice(1).match(/../g).map(function (h) { return parseInt(h, 16); }).join(", ");
        return { type: "scatter", mode: "lines", x0: bins.x0, dx: bins.dx, y: y, yaxis: trace.yaxis, line: { width: 0 },
          fill: j ? "tonexty" : undefined, fillcolor: "rgba(" + colour + ", 0.38)", hoverinfo: "skip", meta: { kind: "excess" } };
      });
    });
    delete trace.x;
    return beyond[0].concat(beyond[1], [Object.assign(trace, { x0: bins.x0, dx: bins.dx, y: bins.mean })]);
  }

  function blocks(trace, view) {
    const seen = held.blocks.map(function (b, i) { return [b, i]; }).filter(function (one) { return one[0].spans[1] > view[0] && one[0].spans[0] < view[1]; });
    const start = seen.map(function (one) { return Math.max(one[0].spans[0], view[0]); });
    const width = seen.map(function (one, i) { return Math.min(one[0].spans[1], view[1]) - start[i]; });
    const perPx = (view[1] - view[0]) / CHART_PX, pick = function (list) { return seen.map(function (one) { return list[one[1]]; }); };
    const marker = trace.marker;
    marker.color = pick(marker.color);
    marker.pattern.shape = pick(marker.pattern.shape);
    return Object.assign(trace, {
      base: start, x: width, y: seen.map(function () { return 0; }), marker: marker,
      text: seen.map(function (one, i) { return width[i] > LETTER_PX * perPx ? one[0].letter : ""; }),
    });
  }

  function kindOf(trace) { return trace.meta && trace.meta.kind; }

  /* The figure of the whole trial, cut to a view. */
  function zoomed(figure, wanted) {
    const middle = (wanted[0] + wanted[1]) / 2, span = Math.min(Math.max(wanted[1] - wanted[0], MIN_VIEW_S), held.end_s - held.start_s);
    const from = Math.min(Math.max(middle - span / 2, held.start_s), held.end_s - span), view = [from, from + span], step = stepFor(span);
    const made = { power: power, range: range, difference: difference, blocks: blocks };
    const data = [];
    figure.data.forEach(function (trace) {
      const kind = kindOf(trace);
      if (kind in made) data.push(made[kind](trace, view, step));
      // what lies beyond the allowance is made with its line
      else if (!(trace.fillcolor && trace.yaxis && trace.yaxis !== "y")) data.push(trace);
    });
    const every = TICKS.find(function (s) { return span / s <= MAX_TICKS; }) || 14400, ticks = [];
    for (let t = Math.ceil(view[0] / every) * every; t <= view[1]; t += every) ticks.push(t);
    Object.assign(figure.layout.xaxis, { range: view, tickvals: ticks, ticktext: ticks.map(window.countercheck.overlay.clock) });
    const tops = data.flat().filter(function (one) { return one && (kindOf(one) === "power" || kindOf(one) === "range"); });
    const top = tops.reduce(function (most, one) { return one.y.reduce(function (m, v) { return Math.max(m, v || 0); }, most); }, LEAST_TOP_W);
    figure.layout.yaxis.range = [0, top * 1.04];
    const smooth = step > 1 ? "means of " + step + " s, shade: range" : "every sample";
    (figure.layout.annotations || []).forEach(function (one) { one.text = one.text.replace(/^(power \[W\], ).*/, "$1" + smooth); });
    Object.assign(figure.layout.meta, { view: view, step_s: step });
    return { data: data.flat().filter(Boolean), layout: figure.layout };
  }

  alone.zoomed = zoomed;
})();
