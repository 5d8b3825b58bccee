/* What a stretch shows of a device beside its delta, peaks, cadence, seconds lost: analysis/within.py line by line, for a
   report without a server. A test holds both against each other. Watts, revolutions a minute, seconds on the trial's clock. */
"use strict";
(function () {
  const alone = window.countercheck.alone, held = alone.held.trial, samples = alone.samples, least = held.within;

  function within(label, start, end) {
    const cadence = window.countercheck.means.meanOver(samples.running(label, "cadence"), start, end);
    const first = Math.max(Math.ceil(start - held.start_s), 0), last = Math.max(Math.floor(end - held.start_s), first);
    const lost = lostRuns(label).filter(function (run) { return run[1] > first && run[0] < last; });
    return {
      cadence_rpm: Number.isFinite(cadence) ? cadence : null,
      peaks: label === held.reference ? [] : peaks(label, first, last),
      lost_s: lost.reduce(function (sum, run) { return sum + Math.min(run[1], last) - Math.max(run[0], first); }, 0),
      lost_runs: lost.length,
    };
  }

  /* Best means inside the whole seconds [first, last); durations that they do not hold are left out. */
  function peaks(label, first, last) {
    const device = samples.perSecond(label).subarray(first, last), reference = samples.perSecond(held.reference).subarray(first, last);
    const n = device.length, covered = new Float64Array(n + 1), ours = new Float64Array(n + 1), theirs = new Float64Array(n + 1);
    for (let i = 0; i < n; i += 1) {
      const both = Number.isFinite(device[i]) && Number.isFinite(reference[i]);
      covered[i + 1] = covered[i] + (both ? 1 : 0);
      ours[i + 1] = ours[i] + (both ? device[i] : 0);
      theirs[i + 1] = theirs[i] + (both ? reference[i] : 0);
    }
    return least.peaks_s.map(function (duration) {
      let best = -Infinity, other = -Infinity;
      for (let i = 0; i + duration <= n; i += 1) {
        const seconds = covered[i + duration] - covered[i];
        if (seconds < least.cover_frac * duration) continue;
        best = Math.max(best, (ours[i + duration] - ours[i]) / seconds);
        other = Math.max(other, (theirs[i + duration] - theirs[i]) / seconds);
      }
      if (best === -Infinity) return null;
      return { duration_s: duration, best_w: best, delta_w: best - other, delta_pct: other >= least.reference_w ? 100 * (best / other - 1) : null };
    }).filter(Boolean);
  }

  /* Seconds without power from this device, within its recording, while another one reads more than coasting. */
  function lostRuns(label) {
    return samples.once("lost " + label, function () {
      const own = samples.perSecond(label), all = samples.labels.map(samples.perSecond), runs = [];
      let first = 0, last = own.length;
      while (first < last && !Number.isFinite(own[first])) first += 1;
      while (last > first && !Number.isFinite(own[last - 1])) last -= 1;
      const lost = function (i) { return !Number.isFinite(own[i]) && all.some(function (one) { return one[i] > least.idle_w; }); };
      for (let i = first; i < last; i += 1) {
        const begin = i;
        while (i < last && lost(i)) i += 1;
        if (i - begin >= least.dropout_s) runs.push([begin, i]);
      }
      return runs;
    });
  }

  alone.within = within;
})();
