/* Light or dark: the reader's stored choice, else the system's. Set on <html> before anything is drawn. */
"use strict";
(function () {
  const KEY = "countercheck.theme";
  const dark = window.matchMedia("(prefers-color-scheme: dark)");

  function stored() {
    try { return window.localStorage.getItem(KEY); } catch (blocked) { return null; }
  }

  function current() {
    return stored() || (dark.matches ? "dark" : "light");
  }

  function apply() {
    document.documentElement.dataset.theme = current();
    return current();
  }

  function toggle() {
    const next = current() === "dark" ? "light" : "dark";
    try { window.localStorage.setItem(KEY, next); } catch (blocked) { document.documentElement.dataset.theme = next; return next; }
    return apply();
  }

  apply();
  dark.addEventListener("change", function () {
    if (window.dash_clientside && window.dash_clientside.set_props) window.dash_clientside.set_props("theme", { data: apply() });
  });

  const functions = (window.dash_clientside = window.dash_clientside || {});
  functions.countercheck = Object.assign(functions.countercheck || {}, {
    theme: function (clicks) { return clicks ? toggle() : apply(); },
  });
})();
