/* The mean of a stretch and how sure it is, from the recordings' own samples: analysis/traces.py and the first half of
   analysis/deltas.py, line by line, for a report without a server. A test holds both against each other.

   Times in seconds on the trial's clock, power in watts. Sums run in the order in which numpy runs them, so that even the
   figures that lie on the edge of rounding come out alike. */
"use strict";
(function () {
  const MAX_HOLD_INTERVALS = 1.5, MIN_SECOND_COVER = 0.5;
  const BLOCK_S = 5, MAX_BLOCKS = 30, MAX_RHO = 0.95, MIN_DOF = 2, LEVEL = 0.95;

  /* ---- samples as steps: each stands for the time half-way to its neighbours */

  function stepsOf(time, value, interval) {
    const limit = (MAX_HOLD_INTERVALS * interval) / 2, outer = Math.min(interval / 2, limit), n = time.length;
    const start = [], end = [], level = [];
    for (let i = 0; i < n; i += 1) {
      if (!Number.isFinite(value[i])) continue;
      start.push(time[i] - (i ? Math.min((time[i] - time[i - 1]) / 2, limit) : outer));
      end.push(time[i] + (i + 1 < n ? Math.min((time[i + 1] - time[i]) / 2, limit) : outer));
      level.push(value[i]);
    }
    return { start: start, end: end, value: level };
  }

  /* Running totals over the time that both cover: seconds, and the work of each. */
  function pairOf(device, reference) {
    const all = Float64Array.from(device.start.concat(device.end, reference.start, reference.end)).sort();
    const knots = all.filter(function (t, i) { return i === 0 || t !== all[i - 1]; });
    if (knots.length < 2) {
      return { knots: Float64Array.of(0, 1), totals: [new Float64Array(2), new Float64Array(2), new Float64Array(2)] };
    }
    const totals = [0, 1, 2].map(function () { return new Float64Array(knots.length); });
    const at = [walker(device), walker(reference)];
    for (let i = 0; i + 1 < knots.length; i += 1) {
      const middle = (knots[i] + knots[i + 1]) / 2;
      const d = at[0](middle), r = at[1](middle);
      const common = d === null || r === null ? 0 : knots[i + 1] - knots[i];
      totals[0][i + 1] = totals[0][i] + common;
      totals[1][i + 1] = totals[1][i] + common * (d || 0);
      totals[2][i + 1] = totals[2][i] + common * (r || 0);
    }
    return { knots: knots, totals: totals };
  }

  /* The step at an instant, for instants that ascend; null where there is none. */
  function walker(steps) {
    let i = 0;
    return function (when) {
      while (i + 1 < steps.start.length && steps.start[i + 1] <= when) i += 1;
      return steps.value.length && when >= steps.start[i] && when < steps.end[i] ? steps.value[i] : null;
    };
  }

  function totalsAt(pair, when) {
    const x = pair.knots, last = x.length - 1;
    if (when <= x[0]) return pair.totals.map(function (y) { return y[0]; });
    if (when >= x[last]) return pair.totals.map(function (y) { return y[last]; });
    let low = 0, high = last;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (x[middle] <= when) low = middle; else high = middle;
    }
    return pair.totals.map(function (y) { return ((y[low + 1] - y[low]) / (x[low + 1] - x[low])) * (when - x[low]) + y[low]; });
  }

  /* Common seconds and both works from start to end. */
  function between(pair, start, end) {
    const before = totalsAt(pair, start);
    return totalsAt(pair, end).map(function (y, i) { return y - before[i]; });
  }

  /* Covered time and integral of one step function up to each instant. */
  function runningOf(steps) {
    const n = steps.value.length;
    if (!n) return { knots: Float64Array.of(0, 1), totals: [new Float64Array(2), new Float64Array(2)] };
    const knots = new Float64Array(2 * n), length = new Float64Array(2 * n), work = new Float64Array(2 * n);
    for (let i = 0, covered = 0, sum = 0; i < n; i += 1) {
      const width = steps.end[i] - steps.start[i];
      knots[2 * i] = steps.start[i];
      knots[2 * i + 1] = steps.end[i];
      length[2 * i] = covered;
      work[2 * i] = sum;
      length[2 * i + 1] = covered += width;
      work[2 * i + 1] = sum += width * steps.value[i];
    }
    return { knots: knots, totals: [length, work] };
  }

  /* Time-weighted mean from start to end, NaN where less than half is covered. */
  function meanOver(running, start, end) {
    const all = between(running, start, end), covered = all[0];
    return covered > 0 && covered >= MIN_SECOND_COVER * (end - start) ? all[1] / covered : NaN;
  }

  /* Mean power of device and reference in each second that both cover at least half of. */
  function bySecond(pair, start, end) {
    const device = [], reference = [], whole = Math.floor(end - start + 1e-9);
    let before = totalsAt(pair, start);
    for (let i = 1; i <= whole; i += 1) {
      const after = totalsAt(pair, start + i), covered = after[0] - before[0];
      if (covered >= MIN_SECOND_COVER) {
        device.push((after[1] - before[1]) / covered);
        reference.push((after[2] - before[2]) / covered);
      }
      before = after;
    }
    return { device: device, reference: reference };
  }

  /* ---- mean of seconds that are alike; see analysis.deltas.mean_with_error for the reasons */

  function meanWithError(x) {
    const b = Math.max(BLOCK_S, Math.floor(x.length / MAX_BLOCKS)), k = Math.floor(x.length / b);
    if (k < 5) return null;
    const means = [];
    for (let i = 0; i < k; i += 1) {
      let sum = 0;
      for (let j = i * b; j < (i + 1) * b; j += 1) sum += x[j];
      means.push(sum / b);
    }
    const mean = total(means) / k;
    const e = means.map(function (m) { return m - mean; });
    const power = total(e.map(function (v) { return v * v; }));
    if (power <= 1e-18 * Math.max(1, mean * mean)) return { se: 0, effective: k, half: 0 };
    let r = 0;
    for (let i = 1; i < k; i += 1) r += e[i] * e[i - 1];
    const rho = Math.min(Math.max(((k * r) / power + 1) / (k - 4), 0), MAX_RHO);
    const factor = (1 + rho) / (1 - rho) - (2 * rho * (1 - Math.pow(rho, k))) / (k * Math.pow(1 - rho, 2));
    const effective = k / factor;
    const variance = power / k / Math.max(1 - 1 / effective, 0.05);
    const se = Math.sqrt(variance / effective);
    return { se: se, effective: effective, half: studentT(Math.max(effective - 1, MIN_DOF)) * se };
  }

  function total(values) { return values.reduce(function (sum, v) { return sum + v; }, 0); }

  /* ---- Student's t, two-sided 95 %: the t beyond which 5 % lie. Tail by the continued fraction of the incomplete beta
     function (Abramowitz and Stegun, 26.5.8 and 26.7.1; from memory), then halving. */

  function studentT(dof) {
    let low = 0, high = 13; // one degree of freedom has 12.7
    for (let i = 0; i < 60; i += 1) {
      const middle = (low + high) / 2;
      if (outside(middle, dof) > 1 - LEVEL) low = middle; else high = middle;
    }
    return (low + high) / 2;
  }

  function outside(t, dof) {
    const x = dof / (dof + t * t);
    return x >= 1 ? 1 : beta(x, dof / 2, 0.5);
  }

  function beta(x, a, b) {
    const front = Math.exp(logGamma(a + b) - logGamma(a) - logGamma(b) + a * Math.log(x) + b * Math.log(1 - x));
    return x < (a + 1) / (a + b + 2) ? (front * fraction(x, a, b)) / a : 1 - (front * fraction(1 - x, b, a)) / b;
  }

  function fraction(x, a, b) {
    const tiny = 1e-300, safe = function (v) { return Math.abs(v) < tiny ? tiny : v; };
    let c = 1, d = 1 / safe(1 - ((a + b) * x) / (a + 1)), value = d;
    for (let m = 1; m < 500; m += 1) {
      const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
      const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
      let change = 1;
      [even, odd].forEach(function (term) {
        d = 1 / safe(1 + term * d);
        c = safe(1 + term / c);
        change = c * d;
        value *= change;
      });
      if (Math.abs(change - 1) < 1e-15) break;
    }
    return value;
  }

  /* Stirling's series after a shift to where it is exact to the last digit. */
  function logGamma(z) {
    let shift = 0;
    while (z < 15) { shift -= Math.log(z); z += 1; }
    const i = 1 / (z * z);
    const series = (1 / 12 - i * (1 / 360 - i * (1 / 1260 - i * (1 / 1680 - i / 1188)))) / z;
    return shift + (z - 0.5) * Math.log(z) - z + 0.5 * Math.log(2 * Math.PI) + series;
  }

  window.countercheck = Object.assign(window.countercheck || {}, {
    means: { stepsOf: stepsOf, runningOf: runningOf, meanOver: meanOver, pairOf: pairOf, between: between, bySecond: bySecond, meanWithError: meanWithError, studentT: studentT },
  });
})();
