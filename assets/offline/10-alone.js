/* A report without a server: what the page's scripts would tell the server goes to whoever in this file can answer it.

   The other scripts call dash_clientside.set_props(place, {data: ...}), as on the page; here each place has one answer. */
"use strict";
(function () {
  const answers = {};
  const functions = (window.dash_clientside = window.dash_clientside || {});

  functions.set_props = function (place, props) {
    const answer = answers[typeof place === "string" ? place : place.type];
    if (answer) answer(props.data);
  };

  function bytes(text) {
    const raw = atob(text), out = new Uint8Array(raw.length);
    for (let i = 0; i < raw.length; i += 1) out[i] = raw.charCodeAt(i);
    return out.buffer;
  }

  window.countercheck = Object.assign(window.countercheck || {}, {
    alone: {
      held: JSON.parse(document.getElementById("report-data").textContent),
      answer: function (place, how) { answers[place] = how; },
      // as analysis writes them: 64-bit floats where 32 do not hold the value, little-endian
      numbers: function (packed) { return packed.f8 === undefined ? new Float32Array(bytes(packed.f4)) : new Float64Array(bytes(packed.f8)); },
    },
  });
})();
