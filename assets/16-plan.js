/* The ride plan in a sheet: rows come and go here; a pasted list or a recording is read by the server (app/ride_plan.py). */
"use strict";
(function () {
  let handed = null; // the place on the page that a draft was handed to
  let asked = 0, waiting = null; // waiting: {sent, form} while a list is being read

  function planOf(element) { return element.closest("[data-plan]"); }
  function rowsOf(plan) { return plan.querySelector("[data-plan-rows]"); }
  function say(plan, words) { plan.querySelector("[data-plan-said]").textContent = words; }

  function number(plan) {
    const rows = rowsOf(plan).querySelectorAll("[data-plan-row]");
    rows.forEach(function (row, i) {
      row.setAttribute("aria-label", "Step " + (i + 1));
      row.querySelector(".plan-number").textContent = String(i + 1);
    });
    const count = plan.querySelector("[data-plan-count]");
    count.textContent = rows.length ? (rows.length === 1 ? "one step" : rows.length + " steps") : "none";
    plan.classList.toggle("empty", !rows.length);
  }

  function add(plan, after) {
    const row = plan.querySelector("[data-plan-blank]").content.firstElementChild.cloneNode(true);
    if (after) after.after(row);
    else rowsOf(plan).append(row);
    number(plan);
    row.querySelector("[data-step]").focus();
  }

  function remove(row) {
    const plan = planOf(row), next = row.nextElementSibling || row.previousElementSibling;
    row.remove();
    number(plan);
    say(plan, "Step removed.");
    (next ? next.querySelector("[data-plan-remove]") : plan.querySelector("[data-plan-add]")).focus();
  }

  function ask(plan, kind) {
    const sheet = plan.dataset.plan;
    const choice = document.getElementById(sheet + "-plan-recording");
    asked += 1;
    waiting = { sent: String(asked), plan: plan };
    say(plan, "Reading …");
    const data = { sent: waiting.sent };
    if (kind === "list") data.text = document.getElementById(sheet + "-plan-list").value;
    else Object.assign(data, { recording: choice.value, name: choice.options[choice.selectedIndex].textContent });
    window.dash_clientside.set_props("plan-asked", { data: data });
  }

  function answered() {
    const answer = waiting && document.querySelector("#plan-read [data-plan-sent='" + waiting.sent + "']");
    if (!answer) return;
    const plan = waiting.plan;
    waiting = null;
    if (!plan.isConnected) return;
    if ("failed" in answer.dataset) return say(plan, answer.textContent);
    rowsOf(plan).replaceChildren(...Array.from(answer.children).map(function (row) { return row.cloneNode(true); }));
    number(plan);
    plan.open = true;
    plan.querySelectorAll(".plan-sources details").forEach(function (source) { source.open = false; });
    say(plan, answer.children.length + " steps taken. Change what is not right.");
    rowsOf(plan).querySelector("[data-step]").focus();
  }

  document.addEventListener("click", function (event) {
    const plan = event.target.closest && planOf(event.target);
    if (!plan) return;
    if (event.target.closest("[data-plan-add]")) add(plan, null);
    else if (event.target.closest("[data-plan-remove]")) remove(event.target.closest("[data-plan-row]"));
    else if (event.target.closest("[data-plan-clear]")) {
      rowsOf(plan).replaceChildren();
      number(plan);
      say(plan, "All steps removed.");
    } else if (event.target.closest("[data-plan-take]")) ask(plan, event.target.closest("[data-plan-take]").dataset.planTake);
  });

  /* Enter inside a step goes on to the next one; it must not start the analysis. */
  document.addEventListener("keydown", function (event) {
    const row = event.target.closest && event.target.closest("input[data-step]") && event.target.closest("[data-plan-row]");
    if (!row || event.key !== "Enter" || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    if (row.nextElementSibling) row.nextElementSibling.querySelector("[data-step]").focus();
    else add(planOf(row), row);
  });

  /* A new trial that is to take the plan which the editor left in this browser (assets/72-plan.js). */
  function handDraft() {
    const place = document.querySelector("[data-hand-draft]");
    if (!place || handed === place) return;
    handed = place;
    let draft = null;
    try { draft = JSON.parse(window.localStorage.getItem("countercheck.plan")); } catch (blocked) { /* then there is none */ }
    window.dash_clientside.set_props("plan-draft", { data: { draft: draft } });
  }
  new MutationObserver(handDraft).observe(document.documentElement, { childList: true, subtree: true });

  document.addEventListener("countercheck:filled", function () {
    document.querySelectorAll("[data-plan]:not([data-numbered])").forEach(function (plan) {
      plan.dataset.numbered = "yes";
      number(plan);
    });
    answered();
  });
})();
