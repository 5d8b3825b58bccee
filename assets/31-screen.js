/* The screen: what the reader has chosen to look at, held here once for the whole page (app/screen.py says what it holds).

   Whoever changes it calls countercheck.screen.set; from here it goes to the stores that the server's callbacks follow
   ("trial-window", "trial-view", "trial-screen"), to the address, and as the event countercheck:screen to other scripts.
   The hash of the address is the section being read. Nothing piles up in the browser's history. */
"use strict";
(function () {
  const LIVE_MS = 70; // between two updates of the card while dragging
  const REST_MS = 140; // a stretch that is still being moved is drawn anew once it rests this long: 32-preview.js shows it until then
  const SEEN_FRAC = 0.5; // or once less than this of it is drawn already
  const PATIENCE_MS = 1500; // after this an unanswered update no longer holds the next one back
  const ADDRESS_MS = 400; // between two changes of the address: some browsers allow no more than a hundred in half a minute
  const LATER_MS = 5000; // where the browser refused nevertheless
  const READING_FRAC = 0.35; // a section is being read once its head is above this part of the window
  const ARRIVING_MS = 15000; // how long a section from the address is kept in place while the page fills; ends when the reader acts
  const OPENING = { window: null, view: null, device: null, against: null, unit: "pct", mean_s: null, rows: [], axis: "elapsed" };
  const CHOICES = ["device", "against", "unit", "mean_s", "rows", "axis"];

  let state = Object.assign({}, OPENING);
  let figure = null; // the element that brought the state
  let section = window.location.hash.slice(1), arriving = section ? performance.now() + ARRIVING_MS : 0;
  let addressTimer = 0, addressDue = 0, writtenAt = -ADDRESS_MS, refused = false;

  function same(a, b) { return JSON.stringify(a) === JSON.stringify(b); }
  function send(store, data) { window.dash_clientside.set_props(store, { data: data }); }

  /* ---- one update under way at a time: what is shown is never behind by more than one, and nothing queues up */

  function line(store) {
    let pending, sentAt = 0, waitingFor = null, timer = 0;
    function go() {
      clearTimeout(timer);
      if (pending === undefined) return;
      const now = performance.now();
      const wait = (waitingFor !== null ? PATIENCE_MS : LIVE_MS) - (now - sentAt);
      if (wait > 0) { timer = setTimeout(go, wait); return; }
      const data = pending;
      pending = undefined;
      sentAt = now;
      waitingFor = key(data);
      send(store, data);
    }
    return {
      put: function (data) { pending = data; go(); },
      answered: function (shown) { if (waitingFor !== null && shown === waitingFor) { waitingFor = null; go(); } },
      forget: function () { pending = undefined; waitingFor = null; clearTimeout(timer); },
    };
  }

  function key(interval) { return interval ? interval[0].toFixed(3) + " " + interval[1].toFixed(3) : ""; }

  const lines = { window: line("trial-window"), view: line("trial-view") };

  /* ---- changes */

  function set(change, live) {
    const fresh = Object.keys(change).filter(function (name) { return name in OPENING && !same(change[name], state[name]); });
    fresh.forEach(function (name) { state[name] = change[name]; });
    if (fresh.includes("window")) lines.window.put(state.window);
    if (fresh.includes("view")) drawSoon(live);
    else if (!live && "view" in change) drawNow(); // the end of a gesture that was followed
    if (fresh.some(function (name) { return CHOICES.includes(name); })) {
      const choices = {};
      CHOICES.forEach(function (name) { choices[name] = state[name]; });
      send("trial-screen", choices);
    }
    if (!live) soon(0);
    if (fresh.length) document.dispatchEvent(new CustomEvent("countercheck:screen", { detail: fresh }));
  }

  /* ---- a stretch drawn anew costs the browser more than one step of a gesture lasts */

  let viewTimer = 0, movedAt = -REST_MS, asked = null;

  function drawSoon(live) {
    const now = performance.now(), alone = !live && now - movedAt > REST_MS; // one press of a key or button
    movedAt = now;
    clearTimeout(viewTimer);
    if (alone || covered() < SEEN_FRAC) return drawNow();
    viewTimer = setTimeout(drawNow, REST_MS);
  }

  /* How much of the wanted stretch the drawing at hand holds. */
  function covered() {
    const overlay = window.countercheck.overlay, gd = overlay.there() ? overlay.graph() : null;
    const drawn = gd && gd.layout && gd.layout.meta && gd.layout.meta.view, wanted = state.view || overlay.whole();
    if (!drawn) return 0;
    return (Math.min(drawn[1], wanted[1]) - Math.max(drawn[0], wanted[0])) / (wanted[1] - wanted[0]);
  }

  function drawNow() {
    clearTimeout(viewTimer);
    if (same(state.view, asked)) return;
    asked = state.view;
    lines.view.put(state.view);
  }

  /* ---- the address */

  function seconds(t) { return Number.isInteger(t) ? t.toFixed(1) : String(Number(t.toFixed(3))); }

  function query() {
    const said = [], put = function (name, text) { said.push([name, text]); };
    if (state.window) { put("from", seconds(state.window[0])); put("to", seconds(state.window[1])); }
    if (state.view) put("view", state.view.map(seconds).join(","));
    ["device", "against"].forEach(function (name) { if (state[name] !== null) put(name, state[name]); });
    ["unit", "axis"].forEach(function (name) { if (state[name] !== OPENING[name]) put(name, state[name]); });
    if (state.mean_s !== null) put("mean", String(state.mean_s));
    if (state.rows.length) put("rows", state.rows.join(","));
    const text = new URLSearchParams(said).toString().replace(/%2C/g, ",");
    return text ? "?" + text : "";
  }

  function soon(wait) {
    const due = Math.max(performance.now() + wait, writtenAt + ADDRESS_MS);
    if (addressTimer && addressDue <= due) return; // what is asked for earlier takes later changes with it
    clearTimeout(addressTimer);
    addressDue = due;
    addressTimer = setTimeout(write, due - performance.now());
  }

  function write() {
    addressTimer = 0;
    if (!figure || !figure.isConnected) return;
    const address = window.location.pathname + query() + (section ? "#" + section : "");
    if (address === window.location.pathname + window.location.search + window.location.hash) return;
    writtenAt = performance.now();
    try {
      window.history.replaceState(window.history.state, "", address);
      refused = false;
    } catch (limit) { // too often; or a page from a file, which may have no address of its own
      if (!refused) soon(LATER_MS);
      refused = true;
    }
  }

  /* ---- the section being read */

  function sections() { // that stand on the page; a hidden one has no place
    return Array.from(document.querySelectorAll("main section[id]")).filter(function (one) { return one.getClientRects().length; });
  }

  function go(id) {
    const place = document.getElementById(id);
    if (!place) return;
    section = id;
    arriving = performance.now() + ARRIVING_MS;
    place.scrollIntoView({ block: "start" });
    soon(0);
  }

  function arrive() {
    if (performance.now() > arriving) return;
    const place = section && document.getElementById(section);
    if (place) place.scrollIntoView({ block: "start", behavior: "instant" });
  }

  function onScroll() {
    if (performance.now() < arriving || !figure || !figure.isConnected) return;
    const limit = window.innerHeight * READING_FRAC;
    const above = sections().filter(function (one) { return one.getBoundingClientRect().top < limit; });
    const now = above.length ? above[above.length - 1].id : "";
    if (now === section) return;
    section = now;
    soon(ADDRESS_MS);
  }

  let looking = false;
  window.addEventListener("scroll", function () {
    if (looking) return;
    looking = true;
    requestAnimationFrame(function () { looking = false; onScroll(); });
  }, { passive: true });

  // from here on the reader leads
  ["wheel", "touchstart", "keydown", "pointerdown"].forEach(function (name) {
    window.addEventListener(name, function () { arriving = 0; }, { passive: true, capture: true });
  });

  document.addEventListener("click", function (event) {
    const link = event.target.closest && event.target.closest("main a[href^='#'], [data-section]");
    const id = link && (link.dataset.section || link.getAttribute("href").slice(1));
    if (!id || !document.getElementById(id) || event.defaultPrevented || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    go(id);
  });

  /* ---- life: the page brings the state with it, checked by the server */

  function bind() {
    const found = document.querySelector("[data-screen]");
    if (!found || found === figure) return;
    figure = found;
    lines.window.forget();
    lines.view.forget();
    clearTimeout(viewTimer);
    state = Object.assign({}, OPENING, JSON.parse(found.dataset.screen));
    asked = state.view;
    requestAnimationFrame(arrive);
    document.dispatchEvent(new CustomEvent("countercheck:screen", { detail: Object.keys(OPENING) }));
  }

  document.addEventListener("countercheck:filled", function () {
    arrive();
    const card = document.querySelector("#interval-card [data-window]");
    const layer = document.getElementById("scrub-layer");
    if (!card || !layer) return;
    const all = key([Number(layer.dataset.start), Number(layer.dataset.end)]);
    lines.window.answered(card.dataset.window === all ? "" : card.dataset.window);
  });

  window.countercheck = Object.assign(window.countercheck || {}, {
    screen: {
      now: function () { return JSON.parse(JSON.stringify(state)); },
      set: function (change) { set(change, false); }, // what is left out stays
      follow: function (change) { set(change, true); }, // likewise while a drag is under way: the address waits for its end
      section: go,
      drawn: function (view) { lines.view.answered(key(view)); },
    },
  });

  new MutationObserver(bind).observe(document.documentElement, { childList: true, subtree: true });
})();
