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

  /* As app/offline/packing.py writes them: whole numbers over `per`, or floats; NaN where nothing was recorded. */
  function numbers(packed) {
    if (packed.f8 !== undefined) return new Float64Array(bytes(packed.f8));
    if (packed.f4 !== undefined) return Float64Array.from(new Float32Array(bytes(packed.f4)));
    const small = packed.u1 !== undefined, nothing = small ? 255 : -32768, per = packed.per || 1;
    const whole = small ? new Uint8Array(bytes(packed.u1)) : new Int16Array(bytes(packed.i2));
    return Float64Array.from(whole, function (v) { return v === nothing ? NaN : v / per; });
  }

  window.countercheck = Object.assign(window.countercheck || {}, {
    alone: {
      held: JSON.parse(document.getElementById("report-data").textContent),
      answer: function (place, how) { answers[place] = how; },
      numbers: numbers,
    },
  });
})();
