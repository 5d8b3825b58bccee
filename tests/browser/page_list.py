"""Every page a person meets, ready to be looked at: what axe and the boxes test walk through."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from driving import RIDE_FILES, Site, chart_drawn, eventually

from analysis.default_design import core_design
from app import links
from app.dossiers.changing import changed_part, new_dossier, with_trial


def untouched(page) -> None:
    page.wait_for_selector("main h1")


def with_sheet(page) -> None:
    page.wait_for_selector("#pick-files", state="attached")
    page.set_input_files("#pick-files", RIDE_FILES)
    eventually(page, "document.querySelectorAll('.file-row.good').length", 3)
    page.wait_for_selector("#analyse:not([disabled])")


def judged(page) -> None:
    chart_drawn(page)
    page.wait_for_selector("tr[data-block]")
    walked(page)


def selected(page) -> None:
    judged(page)
    eventually(page, "document.querySelector('#interval-card [data-window]').dataset.window", "1640.000 2150.000")


def planned(page) -> None:
    page.wait_for_selector("#plan-steps table, #plan-answer *", timeout=20_000)


def reviewed(page) -> None:
    page.wait_for_selector("h1#headline")
    walked(page)
    eventually(page, "document.querySelectorAll('#why .main-svg').length > 0")


def walked(page) -> None:
    """To the foot of the page and back: what is drawn only when it comes into sight is drawn."""
    steps = page.evaluate("Math.ceil(document.documentElement.scrollHeight / innerHeight)")
    for step in range(steps):
        page.evaluate("step => scrollTo({top: step * innerHeight, behavior: 'instant'})", step)
        page.wait_for_timeout(60)
    page.evaluate("scrollTo({top: 0, behavior: 'instant'})")


@dataclass(frozen=True)
class Stop:
    """One page: where it begins, and what to wait for; `path` may be an owner link."""

    path: str
    ready: Callable


NAMES = (
    "home", "home with a sheet", "trial of an owner", "interval of a reader", "blocks first", "plan editor",
    "kept plan of its owner", "kept plan of a reader", "no dossiers", "dossier of its owner", "dossier of a reader", "not found",
)  # fmt: skip


def stops(site: Site) -> dict[str, Stop]:
    """The stops by name, their trials, plan and dossier made in the site's own store."""
    store = site.services.store
    demo = store.trial(site.demo.split("/")[-1])
    own = store.create_trial(demo.recordings, demo.setup)
    hidden = store.create_trial(demo.recordings, demo.setup, blocks_first=True)
    plan = store.plans.create(core_design(250.0))
    dossier = store.dossiers.create(_dossier(site))
    read = store.dossiers.publish(dossier.address)
    made = (
        Stop("/", untouched),
        Stop("/", with_sheet),
        Stop(links.owner_path(own.trial_id, own.owner_key), judged),
        Stop(f"{site.demo}?from=1640.0&to=2150.0", selected),
        Stop(links.owner_path(hidden.trial_id, hidden.owner_key), chart_drawn),
        Stop(links.PLAN, planned),
        Stop(links.plan_owner_path(plan.token, plan.owner_key), untouched),
        Stop(f"{links.PLAN}/{plan.token}", untouched),
        Stop(links.DOSSIERS, untouched),
        Stop(links.dossier_owner_path(dossier.address, dossier.owner_key), reviewed),
        Stop(f"{links.DOSSIERS}/{read}", reviewed),
        Stop("/nothing-here", untouched),
    )
    return dict(zip(NAMES, made, strict=True))


def _dossier(site: Site):
    said = {
        "words": {"title": "Pedals under review", "reviewer": "R. Example", "conclusion": "Reads a little high when warm."},
        "firmware": {"version": "2.07", "since": "2026-03-01", "note": "first of the review"},
        "bench": {
            "device": "pedals", "row.quantity": "stack height", "row.unit": "mm", "row.claimed": "14",
            "row.readings": "14.3; 14.35; 14.4", "row.setup": "0.5",
        },
        "incidents": {"day": "2026-03-04", "kind": "drop-out", "what": "Silent for a minute.", "helped": "A new cell."},
        "corrections": {"day": "2026-04-01", "text": "The price was wrong.", "who": "R. Example"},
        "reply": {"day": "2026-04-02", "who": "the maker", "text": "Thank you for the figures."},
    }  # fmt: skip
    made = new_dossier("Pedals under review", "pedals")
    for part, row in said.items():
        made = changed_part(made, {"part": part, "rows": [row]})
    return with_trial(made, site.demo, "pedals", lambda _: _judged(site).report)


def _judged(site: Site, patience_s: float = 120.0):
    end = time.monotonic() + patience_s
    while (found := getattr(site.services.jobs.ask(site.demo.split("/")[-1]), "open_trial", None)) is None:
        assert time.monotonic() < end, "the built-in trial is not judged yet"
        time.sleep(0.1)
    return found
