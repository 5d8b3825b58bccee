/* Samples -> as many points as a picture can show: analysis/figures/thinning.py for a report without a server.
   Pictures only; no figure that is stated comes from here. Seconds on the trial's clock. */
"use strict";
(function () {
  const MAX_HOLD_INTERVALS = 1.5, COARSE_S = 600;
  const alone = window.countercheck.alone, samples = alone.samples, say = alone.held.trial.drawing.points;

  function stepFor(span) {
    return say.steps_s.find(function (step) { return span / step <= say.most; }) || Math.ceil(span / say.most / COARSE_S) * COARSE_S;
  }

  function runningFor(span) {
    const closer = say.closer_s.find(function (one) { return span <= one[0]; });
    return closer ? closer[1] : say.running_s;
  }

  /* The first place that is not before `when`, or, with `after`, that is beyond it. */
  function place(time, when, after) {
    let low = 0, high = time.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (after ? time[middle] <= when : time[middle] < when) low = middle + 1; else high = middle;
    }
    return low;
  }

  /* Mean, lowest and highest sample of each bin; NaN where a bin is empty. */
  function thin(time, value, view, step) {
    const begin = Math.floor(view[0] / step) * step, n = Math.max(1, Math.ceil((view[1] - begin) / step));
    const count = new Float64Array(n), mean = new Float64Array(n), low = new Float64Array(n).fill(Infinity), high = new Float64Array(n).fill(-Infinity);
    const last = place(time, begin + n * step);
    for (let i = place(time, begin); i < last; i += 1) {
      if (!Number.isFinite(value[i])) continue;
      const bin = Math.floor((time[i] - begin) / step);
      count[bin] += 1;
      mean[bin] += value[i];
      low[bin] = Math.min(low[bin], value[i]);
      high[bin] = Math.max(high[bin], value[i]);
    }
    for (let bin = 0; bin < n; bin += 1) {
      if (count[bin]) mean[bin] /= count[bin]; else mean[bin] = low[bin] = high[bin] = NaN;
    }
    return { first: begin + step / 2, step: step, mean: mean, low: low, high: high };
  }

  /* The samples themselves, to one beyond the view; a break where two lie too far apart to be joined. */
  function samplesIn(time, value, view, interval) {
    const x = [], y = [], last = Math.min(place(time, view[1], true) + 1, time.length);
    for (let i = Math.max(place(time, view[0]) - 1, 0), before = NaN; i < last; before = time[i], i += 1) {
      if (time[i] - before > MAX_HOLD_INTERVALS * interval) { x.push((before + time[i]) / 2); y.push(NaN); }
      x.push(time[i]);
      y.push(value[i]);
    }
    return { x: x, y: y };
  }

  /* Of each bin the lowest and the highest value where they stand, and whether there is a gap. */
  function extremes(time, value, step) {
    const x = [], y = [];
    for (let i = 0; i < time.length;) {
      const bin = Math.floor(time[i] / step);
      let low = -1, high = -1, gap = -1;
      for (; i < time.length && Math.floor(time[i] / step) === bin; i += 1) {
        if (!Number.isFinite(value[i])) { if (gap < 0) gap = i; continue; }
        if (low < 0 || value[i] < value[low]) low = i;
        if (high < 0 || value[i] >= value[high]) high = i;
      }
      Array.from(new Set([low, high, gap])).filter(function (k) { return k >= 0; }).sort(function (a, b) { return a - b; }).forEach(function (k) {
        x.push(time[k]);
        y.push(value[k]);
      });
    }
    return { x: x, y: y };
  }

  /* Time-weighted mean of `width` around each stamp; a gap stays a gap. */
  function movingMean(running, time, value, width) {
    const mean = window.countercheck.means.meanOver;
    return Float64Array.from(time, function (t, i) { return Number.isFinite(value[i]) ? mean(running, t - width / 2, t + width / 2) : NaN; });
  }

  const last = {}; // of each device the one that was drawn last

  /* Device minus the other and the other itself, as means over a centred window, for each whole second. */
  function difference(label, against, width) {
    const name = width + " " + against;
    if (!last[label] || last[label].name !== name) last[label] = { name: name, made: runningDifference(label, against, width) };
    return last[label].made;
  }

  function runningDifference(label, against, width) {
    const ours = samples.perSecond(label), theirs = samples.perSecond(against), n = ours.length;
    const there = new Float64Array(n + 1), gap = new Float64Array(n + 1), other = new Float64Array(n + 1);
    const both = function (i) { return Number.isFinite(ours[i]) && Number.isFinite(theirs[i]); };
    for (let i = 0; i < n; i += 1) {
      there[i + 1] = there[i] + (both(i) ? 1 : 0);
      gap[i + 1] = gap[i] + (both(i) ? ours[i] - theirs[i] : 0);
      other[i + 1] = other[i] + (both(i) ? theirs[i] : 0);
    }
    const before = Math.floor(width / 2), watts = new Float64Array(n).fill(NaN), held = new Float64Array(n).fill(NaN);
    for (let i = 0; i < n; i += 1) {
      const from = Math.max(i - before, 0), to = Math.min(i + width - before, n), count = there[to] - there[from];
      if (!both(i) || !(count > 0 && count >= say.cover_frac * width)) continue;
      watts[i] = (gap[to] - gap[from]) / count;
      held[i] = (other[to] - other[from]) / count;
    }
    return { watts: watts, held: held };
  }

  /* In % of the other; NaN where that is too low for a percentage to say anything. */
  function inPercent(one) {
    return one.watts.map(function (w, i) { return one.held[i] >= say.least_w ? (100 * w) / one.held[i] : NaN; });
  }

  /* As numpy's quantile does, between the two nearest. */
  function quantile(sorted, frac) {
    const at = frac * (sorted.length - 1), low = Math.floor(at), high = Math.min(low + 1, sorted.length - 1);
    return sorted[low] + (at - low) * (sorted[high] - sorted[low]);
  }

  alone.points = {
    stepFor: stepFor, runningFor: runningFor, place: place, thin: thin, samplesIn: samplesIn, extremes: extremes,
    movingMean: movingMean, difference: difference, inPercent: inPercent, quantile: quantile,
  };
})();
