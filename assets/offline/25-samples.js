/* The recordings' samples, unpacked at the first question and kept: as step functions, by whole seconds, as recorded. */
"use strict";
(function () {
  const alone = window.countercheck.alone, held = alone.held.trial, kept = {};

  function once(name, make) {
    if (!(name in kept)) kept[name] = make();
    return kept[name];
  }

  function entry(label) { return held.recordings.find(function (one) { return one.label === label; }); }

  function time(label) { return once("time " + label, function () { return alone.numbers(entry(label).time_s); }); }

  /* A channel by its name here: power, cadence, heart_rate ...; null where it was not recorded. */
  function values(label, channel) {
    const packed = entry(label).channels[channel];
    return packed ? once(channel + " " + label, function () { return alone.numbers(packed); }) : null;
  }

  function steps(label, channel) {
    return once("steps " + channel + " " + label, function () {
      return window.countercheck.means.stepsOf(time(label), values(label, channel) || [], entry(label).interval_s);
    });
  }

  function running(label, channel) {
    return once("running " + channel + " " + label, function () { return window.countercheck.means.runningOf(steps(label, channel)); });
  }

  function pair(label, against) {
    return once("pair " + label + "\n" + against, function () {
      return window.countercheck.means.pairOf(steps(label, "power"), steps(against, "power"));
    });
  }

  /* Mean power of each whole second of the trial, NaN where less than half of it is covered. */
  function perSecond(label) {
    return once("seconds " + label, function () {
      const own = running(label, "power"), n = Math.round(held.end_s - held.start_s);
      return Float64Array.from({ length: n }, function (_, i) {
        return window.countercheck.means.meanOver(own, held.start_s + i, held.start_s + i + 1);
      });
    });
  }

  alone.samples = {
    labels: held.recordings.map(function (one) { return one.label; }), interval: function (label) { return entry(label).interval_s; },
    time: time, values: values, running: running, pair: pair, perSecond: perSecond, once: once,
  };
})();
