/* A delta, its interval and its verdict over any stretch: the second half of analysis/deltas.py, analysis/verdict.py and
   analysis/judging.judge_interval, line by line, for a report without a server. A test holds both against each other. */
"use strict";
(function () {
  const MIN_SECONDS = 4, MIN_EFFECTIVE_N = 3, ENOUGH_STRETCHES = 40, MIN_REFERENCE_W = 10, MIN_PIECES = 5, MIN_REST_FRAC = 1e-6;
  const Z = 1.959963984540054; // two-sided 95 % of the normal distribution
  const SHORT = "The stretch is too short to judge: its seconds are too few or too alike to give a sound interval.";

  /* Half the last digit goes to the even one, as Python prints it. */
  function fixed(value, digits) {
    const doubled = value * Math.pow(2, digits + 1);
    if (Number.isInteger(doubled) && doubled % 2 !== 0 && Math.abs(value) < 1e12) {
      const scale = Math.pow(10, digits), lower = Math.floor(Math.abs(value) * scale);
      return (value < 0 ? "-" : "") + ((lower % 2 ? lower + 1 : lower) / scale).toFixed(digits);
    }
    return value.toFixed(digits);
  }

  function around(centre, half) { return centre === null || half === null ? null : [centre - half, centre + half]; }

  function nothing(covered) {
    return { n_s: covered, mean_w: null, reference_mean_w: null, delta_w: null, delta_w_ci: null, delta_pct: null, delta_pct_ci: null, enough: false };
  }

  /* One stretch; its interval from the seconds within it. */
  function over(pair, start, end) {
    const m = window.countercheck.means, all = m.between(pair, start, end), covered = all[0];
    if (covered < 1) return nothing(covered);
    const mean = all[1] / covered, reference = all[2] / covered, s = m.bySecond(pair, start, end);
    const ratio = reference >= MIN_REFERENCE_W ? mean / reference : null;
    const watts = s.device.length >= MIN_SECONDS ? m.meanWithError(less(s, 1)) : null;
    const share = ratio !== null && watts ? m.meanWithError(less(s, ratio)) : null;
    const deltaW = mean - reference, deltaPct = ratio === null ? null : 100 * (ratio - 1);
    return {
      n_s: covered, mean_w: mean, reference_mean_w: reference, delta_w: deltaW, delta_pct: deltaPct,
      delta_w_ci: around(deltaW, watts ? watts.half : null),
      delta_pct_ci: around(deltaPct, share ? (100 * share.half) / reference : null),
      enough: Boolean(watts) && Math.min(watts.effective, (share || watts).effective) >= MIN_EFFECTIVE_N,
    };
  }

  function less(seconds, ratio) {
    return seconds.device.map(function (w, i) { return w - ratio * seconds.reference[i]; });
  }

  /* Several stretches, which are the repeats. */
  function pooled(pair, spans) {
    const m = window.countercheck.means;
    const all = spans.map(function (span) { return m.between(pair, span[0], span[1]); });
    const sum = function (i) { return all.reduce(function (t, one) { return t + one[i]; }, 0); };
    const seconds = sum(0), used = spans.filter(function (_, i) { return all[i][0] >= 1; });
    if (seconds < 1) return nothing(seconds);
    if (used.length === 1) return over(pair, used[0][0], used[0][1]);
    const counted = all.filter(function (one) { return one[0] >= 1; }), k = counted.length;
    const mean = sum(1) / seconds, reference = sum(2) / seconds;
    const ratio = reference >= MIN_REFERENCE_W ? mean / reference : null;
    const t = m.studentT(k - 1);
    const inside = k < ENOUGH_STRETCHES ? within(pair, used, ratio, seconds, reference) : [0, 0];
    const halfW = t * jackknife(counted, 0, sum(0), function (one) { return one[1] - one[2] - one[0] * (mean - reference); });
    const halfPct = ratio === null ? null
      : 100 * t * jackknife(counted, 2, sum(2), function (one) { return one[1] - ratio * one[2]; });
    const deltaW = mean - reference, deltaPct = ratio === null ? null : 100 * (ratio - 1);
    return {
      n_s: seconds, mean_w: mean, reference_mean_w: reference, delta_w: deltaW, delta_pct: deltaPct, enough: true,
      delta_w_ci: around(deltaW, Math.max(halfW, inside[0])),
      delta_pct_ci: halfPct === null ? null : around(deltaPct, Math.max(halfPct, inside[1])),
    };
  }

  /* Standard error of a ratio of sums by leaving out each stretch in turn; `weight` is the place of what it is divided by. */
  function jackknife(counted, weight, total, residual) {
    const k = counted.length;
    const squares = counted.reduce(function (t, one) {
      return t + Math.pow(residual(one) / Math.max(1 - one[weight] / total, MIN_REST_FRAC), 2);
    }, 0);
    return (Math.sqrt((k - 1) / k) * Math.sqrt(squares)) / total;
  }

  /* What the seconds within the stretches alone give, as if the stretches agreed perfectly. */
  function within(pair, spans, ratio, seconds, reference) {
    const m = window.countercheck.means;
    let watts = 0, share = 0;
    spans.forEach(function (span) {
      const s = m.bySecond(pair, span[0], span[1]);
      const forWatts = m.meanWithError(less(s, 1)), forShare = ratio === null ? null : m.meanWithError(less(s, ratio));
      if (forWatts) watts += Math.pow(forWatts.se * s.device.length, 2);
      if (forShare) share += Math.pow(forShare.se * s.device.length, 2);
    });
    return [(Z * Math.sqrt(watts)) / seconds, (100 * Z * Math.sqrt(share)) / seconds / reference];
  }

  /* ---- the verdict and its reason */

  function signed(value) {
    const text = fixed(Math.abs(value), 1);
    return text === "0.0" ? text : (value > 0 ? "+" : "\u2212") + text;
  }

  function verdictOn(delta, allowance) {
    if (delta.delta_pct === null) return ["unsettled", "There is no common time with power to compare."];
    if (delta.delta_pct_ci === null || !delta.enough) return ["unsettled", SHORT];
    const low = allowance[0], high = allowance[1], first = delta.delta_pct_ci[0], last = delta.delta_pct_ci[1];
    const band = "(" + signed(low) + " to " + signed(high) + " %)";
    if (low <= first && last <= high) return ["within", "The whole interval lies within what claims and drivetrain loss explain " + band + "."];
    if (first > high || last < low) {
      const by = fixed(first > high ? first - high : low - last, 1), side = first > high ? "above" : "below";
      const least = by === "0.0" ? "less than 0.1 points at its nearer end" : "at least " + by + " points";
      return ["outside", "The whole interval lies " + side + " what claims and drivetrain loss explain " + band + ", by " + least + "."];
    }
    return ["unsettled", "The interval reaches across the edge of what claims and drivetrain loss explain " + band + "."];
  }

  /* Every device over what a reader has selected; with five blocks or parts of blocks in it these are the repeats.
     `device.no_verdict` is the reason why a device can have none, whatever the stretch. */
  function judge(trial, start, end) {
    const inner = trial.edges_s.filter(function (edge) { return start < edge && edge < end; });
    const cuts = [start].concat(inner, [end]);
    const spans = cuts.slice(1).map(function (edge, i) { return [cuts[i], edge]; });
    return trial.devices.map(function (device) {
      const delta = cuts.length <= MIN_PIECES ? over(device.pair, start, end) : pooled(device.pair, spans);
      const said = device.no_verdict ? ["unsettled", device.no_verdict] : verdictOn(delta, device.allowance_pct);
      return Object.assign(delta, { label: device.label, allowance_pct: device.allowance_pct, likely_allowance_pct: device.likely_allowance_pct, verdict: said[0], reason: said[1] });
    });
  }

  window.countercheck = Object.assign(window.countercheck || {}, { judging: { judge: judge, fixed: fixed } });
})();
