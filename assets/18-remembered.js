/* What this browser was told of devices, kept in it alone, keyed by what a file says of its device: see app/intake.py.
   Never positions or serial numbers: neither is in what the page knows. */
"use strict";
(function () {
  const REMEMBERED = "countercheck.devices";
  const PARTS = ["label", "point", "claim", "firmware", "sides", "obtained"];
  const MOST = 60; // devices; the ones told longest ago go first

  function all() {
    try { return JSON.parse(window.localStorage.getItem(REMEMBERED)) || {}; } catch (blocked) { return {}; }
  }

  function keep(device, said) {
    const known = all();
    delete known[device]; // so that it becomes the newest
    known[device] = {};
    PARTS.forEach(function (part) { if (said[part]) known[device][part] = said[part]; });
    Object.keys(known).slice(0, -MOST).forEach(function (old) { delete known[old]; });
    try { window.localStorage.setItem(REMEMBERED, JSON.stringify(known)); } catch (blocked) { /* then nothing is remembered */ }
  }

  function forget() {
    try { window.localStorage.removeItem(REMEMBERED); } catch (blocked) { /* nothing was kept either */ }
  }

  window.countercheck = Object.assign(window.countercheck || {}, { devices: { all: all, keep: keep, forget: forget } });
})();
