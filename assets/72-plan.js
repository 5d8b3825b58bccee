/* The ride plan's editor: parts and steps come, go and move here; what stands in it is sent as texts (app/planning/drafts.py),
   what comes of it is drawn by the server. Until it is kept, the plan is kept in this browser only. */
"use strict";
(function () {
  const DRAFT = "countercheck.plan";
  const WAIT_MS = 250; // after the last change
  const UNDOS = 30;
  let sent = 0, timer = 0, filledEditor = null;
  let past = []; // drafts before each change by a button

  function form() { return document.querySelector("form[data-design]"); }
  function bodyNode() { return document.getElementById("plan-body"); }
  function mine() { return bodyNode() && !document.querySelector("[data-design-at]"); } // a draft, kept in this browser
  function all(node, selector) { return Array.from(node.querySelectorAll(selector)); }
  function partsOf(editor) { return all(editor, "[data-parts] > [data-part-row]"); }
  function stepsOf(part) { return all(part, "[data-steps] > [data-step-row]"); }
  function setProps(id, data) { window.dash_clientside.set_props(id, data); }

  function fieldsIn(nodes) {
    const found = {};
    nodes.forEach(function (field) { found[field.dataset.field] = field.value; });
    return found;
  }

  function draft() {
    const editor = form(), aim = document.querySelector("form[data-design-aim]");
    if (!editor) return null;
    const top = fieldsIn(all(editor, ":scope > .field-row [data-field]"));
    if (aim) Object.assign(top, fieldsIn(all(aim, "[data-field]")));
    top.parts = partsOf(editor).map(function (part) {
      const found = fieldsIn(all(part, "[data-part-fields] [data-field]"));
      found.steps = stepsOf(part).map(function (step) { return fieldsIn(all(step, "[data-field]")); });
      return found;
    });
    return top;
  }

  function hold(found) {
    if (!mine()) return;
    try { window.localStorage.setItem(DRAFT, JSON.stringify(found)); } catch (blocked) { /* then it lives as long as the page */ }
  }

  function held() {
    try { return JSON.parse(window.localStorage.getItem(DRAFT)); } catch (blocked) { return null; }
  }

  function forget() {
    try { window.localStorage.removeItem(DRAFT); } catch (blocked) { /* nothing was kept either */ }
  }

  function tell() {
    const found = draft();
    if (!found) return;
    hold(found);
    sent += 1;
    setProps("plan-typed", { data: Object.assign({ sent: sent }, found) });
  }

  /* What was chosen counts as assumed no more; both ends of the loss are one choice. */
  function chose(aim, part) {
    const list = aim.querySelector("[data-field=assumed]");
    const left = part ? list.value.split(",").filter(function (name) { return name && name !== part; }) : [];
    list.value = left.join(",");
    assumptions(aim);
  }

  function assumptions(aim) {
    const left = aim.querySelector("[data-field=assumed]").value.split(",");
    all(aim, "[data-assumed]").forEach(function (tag) { tag.hidden = !left.includes(tag.dataset.assumed); });
    aim.querySelector("[data-act=chosen]").hidden = left[0] === "";
  }

  /* The editor comes from the server; the fields of the aim stand beside it and stay. */
  function fillAim(found) {
    const aim = document.querySelector("form[data-design-aim]");
    if (!aim || !found) return;
    all(aim, "[data-field]").forEach(function (field) {
      const value = found[field.dataset.field];
      if (typeof value !== "string") return;
      if (field.tagName !== "SELECT" || Array.from(field.options).some(function (o) { return o.value === value; })) field.value = value;
    });
    assumptions(aim);
  }

  function soon() {
    clearTimeout(timer);
    timer = setTimeout(tell, WAIT_MS);
  }

  function say(words) {
    const place = document.querySelector("[data-design-said]");
    if (place) place.textContent = words;
  }

  /* Numbers, names and the first and last row's buttons. */
  function number() {
    const editor = form();
    if (!editor) return;
    partsOf(editor).forEach(function (part, i, parts) {
      const name = part.querySelector("[data-part-fields] [data-field=name]").value;
      part.querySelector(":scope > summary [data-number]").textContent = String(i + 1);
      part.querySelector("[data-part-name]").textContent = name || "new part";
      ends(part.querySelector("[data-part-fields]"), i, parts.length);
      stepsOf(part).forEach(function (step, j, steps) {
        step.querySelector("[data-number]").textContent = String(j + 1);
        step.setAttribute("aria-label", "Step " + (j + 1) + " of part " + (i + 1));
        ends(step, j, steps.length);
      });
    });
    const undo = editor.querySelector("[data-act=undo]");
    if (undo) undo.hidden = !past.length;
  }

  function ends(row, place, count) {
    row.querySelector("[data-act=up]").disabled = place === 0;
    row.querySelector("[data-act=down]").disabled = place === count - 1;
  }

  function blank(editor, kind) {
    return editor.querySelector("template[data-blank=" + kind + "]").content.firstElementChild.cloneNode(true);
  }

  function copyOf(row) {
    const copy = row.cloneNode(true), from = all(row, "select");
    all(copy, "select").forEach(function (select, i) { select.value = from[i].value; });
    all(copy, "input").forEach(function (input, i) { input.value = all(row, "input")[i].value; });
    return copy;
  }

  function move(row, up) {
    const other = up ? row.previousElementSibling : row.nextElementSibling;
    if (!other) return false;
    if (up) other.before(row); else other.after(row);
    return true;
  }

  function act(button) {
    const editor = form(), kind = button.dataset.act;
    const row = button.closest("[data-step-row]") || button.closest("[data-part-row]");
    const what = button.closest("[data-step-row]") ? "Step" : "Part";
    if (kind === "undo") return undo();
    remember();
    let focus = button;
    if (kind === "add-part") {
      const part = blank(editor, "part");
      editor.querySelector("[data-parts]").append(part);
      part.open = true;
      focus = part.querySelector("[data-part-fields] [data-field=name]");
    } else if (kind === "add-step") {
      const step = blank(editor, "step");
      row.querySelector("[data-steps]").append(step);
      focus = step.querySelector("[data-field]");
    } else if (kind === "twice") {
      const copy = copyOf(row);
      row.after(copy);
      focus = copy.querySelector("[data-act=twice]");
      say(what + " duplicated.");
    } else if (kind === "remove") {
      const next = row.nextElementSibling || row.previousElementSibling;
      row.remove();
      focus = (next && (next.matches("[data-part-row]") ? next.querySelector("summary") : next.querySelector("[data-act=remove]"))) ||
        editor.querySelector("[data-act=add-part]");
      say(what + " removed.");
    } else if (kind === "up" || kind === "down") {
      if (move(row, kind === "up")) say(what + " moved " + kind + ".");
    }
    number();
    if (focus && focus.disabled) focus = focus.parentElement.querySelector("[data-act]:not(:disabled)");
    if (focus) focus.focus();
    tell();
  }

  function remember() {
    past.push(draft());
    past = past.slice(-UNDOS);
  }

  function undo() {
    const before = past.pop();
    if (before) start({ draft: before });
    say("Undone.");
  }

  function start(asked) {
    sent += 1;
    if (asked.draft) fillAim(asked.draft);
    setProps("plan-start", { data: Object.assign({ sent: sent }, asked) });
  }

  /* The editor came anew from the server: a beginning, a draft, or another state of a kept plan. */
  function renewed() {
    const editor = form(), body = bodyNode();
    if (!body) { filledEditor = null; return; }
    const at = document.querySelector("[data-design-at]");
    if (at && at.dataset.designAt !== window.location.pathname) {
      forget();
      window.history.replaceState(window.history.state, "", at.dataset.designAt);
      window.scrollTo(0, 0); // its addresses stand above
    }
    if (!editor || editor === filledEditor) return;
    const first = filledEditor === null;
    filledEditor = editor;
    number();
    const draftThere = first && body.dataset.begins === "draft" && mine() && held();
    if (draftThere) start({ draft: draftThere });
    else tell();
  }

  function told(answer) {
    const editor = form();
    if (!editor || !answer) return "";
    const problems = answer.problems || {}, names = Object.keys(problems), known = new Set();
    all(document, "[data-problem]").forEach(function (place) { place.hidden = true; place.textContent = ""; });
    all(document, "form[data-design] [aria-invalid], form[data-design-aim] [aria-invalid]").forEach(function (field) {
      field.removeAttribute("aria-invalid");
      field.removeAttribute("aria-describedby");
    });
    names.forEach(function (name, i) {
      const field = fieldAt(editor, name);
      if (!field || known.has(field)) return;
      known.add(field);
      const place = placeFor(field);
      place.id = place.id || "plan-problem-" + i;
      place.textContent = problems[name];
      place.hidden = false;
      field.setAttribute("aria-invalid", "true");
      field.setAttribute("aria-describedby", place.id);
      const part = field.closest("[data-part-row]");
      if (part) part.open = true;
    });
    all(document, "#plan-top, #plan-answer, #plan-steps").forEach(function (node) { node.classList.toggle("design-stale", names.length > 0); });
    if (names.length) say(names.length === 1 ? "One field needs correcting; the figures are those before." : names.length + " fields need correcting; the figures are those before.");
    else if (/need/.test((document.querySelector("[data-design-said]") || {}).textContent || "")) say("");
    (answer.parts || []).forEach(function (words, i) {
      const part = partsOf(editor)[i];
      if (part) part.querySelector("[data-part-said]").textContent = words;
    });
    return "";
  }

  function fieldAt(editor, name) {
    const found = /^parts\.(\d+)\.(?:steps\.(\d+)\.)?(\w+)$/.exec(name);
    if (!found) return document.querySelector("form[data-design] > .field-row [data-field='" + name + "'], form[data-design-aim] [data-field='" + name + "']");
    const part = partsOf(editor)[Number(found[1])];
    if (!part) return null;
    const row = found[2] === undefined ? part.querySelector("[data-part-fields]") : stepsOf(part)[Number(found[2])];
    return row && row.querySelector("[data-field=" + found[3] + "]");
  }

  function placeFor(field) {
    const holder = field.closest("[data-field-box]") || field.closest("[data-step-row]");
    return holder.querySelector("[data-problem]");
  }

  /* What a step is brings its length along, where only one fits. */
  function became(select) {
    if (select.dataset.field !== "exercise" || select.value !== "sync") return;
    select.closest("[data-step-row]").querySelector("[data-field=length]").value = "1:00";
  }

  function printCard(paper) {
    const root = document.documentElement;
    const done = function () { delete root.dataset.print; window.removeEventListener("afterprint", done); };
    root.dataset.print = paper;
    window.addEventListener("afterprint", done);
    window.print();
  }

  function press(button) {
    const kind = button.dataset.designAct;
    if (kind.startsWith("card-")) return printCard(kind);
    sent += 1;
    const asked = { act: kind, sent: sent, draft: draft() };
    if (kind === "workout" || kind === "toml") return setProps("plan-take", { data: asked });
    if (kind === "delete" && button.dataset.sure !== "yes") {
      button.dataset.sure = "yes";
      button.textContent = "Delete it for good, also for readers";
      return undefined;
    }
    return setProps("plan-act", { data: asked });
  }

  function copyEntries(button) {
    const text = button.parentElement.querySelector("code").textContent, words = button.textContent;
    const answer = function (told) {
      button.textContent = told;
      setTimeout(function () { button.textContent = words; }, 1800);
    };
    if (!navigator.clipboard) return answer("Select and copy the text");
    return navigator.clipboard.writeText(text).then(function () { answer("Copied"); }, function () { answer("Select and copy the text"); });
  }

  document.addEventListener("click", function (event) {
    const target = event.target.closest && event.target.closest("[data-act], [data-design-from], [data-design-act], [data-design-copy]");
    if (!target || !bodyNode()) return;
    if (target.dataset.act === "chosen") { chose(target.closest("form"), ""); tell(); }
    else if (target.dataset.act && target.closest("form[data-design]")) act(target);
    else if (target.dataset.designFrom) { remember(); start({ from: target.dataset.designFrom }); }
    else if (target.dataset.designAct) press(target);
    else if ("designCopy" in target.dataset) copyEntries(target);
  });

  document.addEventListener("input", function (event) {
    if (!event.target.closest || !event.target.closest("form[data-design], form[data-design-aim]")) return;
    const tag = event.target.closest("form[data-design-aim]") && event.target.closest("[data-field-box]").querySelector("[data-assumed]");
    if (tag) chose(event.target.form, tag.dataset.assumed);
    became(event.target);
    number();
    soon();
  });

  document.addEventListener("submit", function (event) {
    if (event.target.closest("form[data-design], form[data-design-aim]")) event.preventDefault();
  });

  /* Alt and an arrow move the row that has the keyboard. */
  document.addEventListener("keydown", function (event) {
    if (!event.altKey || !["ArrowUp", "ArrowDown"].includes(event.key) || !event.target.closest) return;
    const row = event.target.closest("form[data-design] [data-step-row], form[data-design] [data-part-row]");
    if (!row) return;
    event.preventDefault();
    const field = event.target;
    remember();
    if (move(row, event.key === "ArrowUp")) {
      number();
      field.focus();
      say((row.matches("[data-step-row]") ? "Step" : "Part") + " moved " + (event.key === "ArrowUp" ? "up." : "down."));
      tell();
    } else past.pop();
  });

  window.addEventListener("pagehide", function () {
    const found = draft(); // what was typed just now too
    if (found) hold(found);
  });
  document.addEventListener("countercheck:filled", renewed);
  const functions = (window.dash_clientside = window.dash_clientside || {});
  functions.countercheck = Object.assign(functions.countercheck || {}, { planTold: told });
})();
