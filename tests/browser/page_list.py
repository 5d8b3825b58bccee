"""Every page a person meets, ready to be looked at: what axe and the boxes test walk through."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from driving import RIDE_FILES, Site, chart_drawn, eventually
from open_trials import with_names

from analysis.default_design import core_design
from app import links
from app.dossiers.changing import changed_part, new_dossier, with_trial
from app.jobs import NO_MORE, Failed, Working

UNREADABLE = "2026-01-17-18-05-boathouse-third-head-unit-copied-from-its-card.fit"
NOWHERE = "trial/" + "A" * 32
LONG_NOTE = "The left pedal's cell was changed here, by the light of a head torch, so the gap is mine and not the device's. " * 3
CUT_SHORT = (
    "hub_2026-01-17_eighteen-oh-five_boathouse.fit ends in the middle of a message after 3 min; "
    "export it again from the head unit.\n"
    "Two recordings are needed to compare anything; one is left."
)


def untouched(page) -> None:
    page.wait_for_selector("main h1")


def told(page) -> None:
    page.wait_for_selector(".waiting h1")


def with_sheet(page) -> None:
    page.wait_for_selector("#pick-files", state="attached")
    page.set_input_files("#pick-files", RIDE_FILES)
    eventually(page, "document.querySelectorAll('.file-row.good').length", 3)
    unreadable = {"name": UNREADABLE, "mimeType": "application/octet-stream", "buffer": b"no ride"}
    page.set_input_files("#pick-files", unreadable)
    page.wait_for_selector(".file-row.refused")
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
    """To the foot of the page and back, until all that is made only when it comes into sight is there."""
    left = "[...document.querySelectorAll('[data-seen]')].filter(box => box.checkVisibility() && " \
        "!box.querySelector(box.dataset.seen === 'section-seen' ? '.section-content > *' : '.main-svg'))"
    for _ in range(200):
        if not page.evaluate(f"{left}.map(box => box.scrollIntoView({{behavior: 'instant'}})).length"):
            break
        page.wait_for_timeout(100)
    assert page.evaluate(f"{left}.map(box => box.dataset.index)") == []
    page.evaluate("scrollTo({top: 0, behavior: 'instant'})")


@dataclass(frozen=True)
class Stop:
    """One page: where it begins, and what to wait for; `path` may be an owner link."""

    path: str
    ready: Callable


NAMES = (
    "home", "home with a sheet", "trial of an owner", "interval of a reader", "long names", "blocks first", "under way",
    "in line", "busy", "no result", "refused", "deleted", "plan editor", "kept plan of its owner", "kept plan of a reader",
    "no dossiers", "dossier of its owner", "dossier of a reader", "not found",
)  # fmt: skip
# What the browser's console may say of these.
MEANT = {"home with a sheet": ("422",), "refused": ("404",), "deleted": ("404",), "not found": ("404",)}


def stops(site: Site) -> dict[str, Stop]:
    """The stops by name, their trials, plan and dossier made in the site's own store."""
    store = site.services.store
    demo = store.trial(site.demo.split("/")[-1])
    own = store.create_trial(demo.recordings, demo.setup)
    store.notes.add(own.trial_id, LONG_NOTE, (1640.0, 2150.0))
    store.notes.add(own.trial_id, "Fan on.", None)
    hidden = store.create_trial(demo.recordings, demo.setup, blocks_first=True)
    plan = store.plans.create(core_design(250.0))
    dossier = store.dossiers.create(_dossier(site))
    read = store.dossiers.links.new_reader(dossier.address)
    made = (
        Stop("/", untouched),
        Stop("/", with_sheet),
        Stop(links.owner_path(own.trial_id, own.owner_key), judged),
        Stop(f"{site.demo}?from=1640.0&to=2150.0", selected),
        Stop(_long_names(site, demo), judged),
        Stop(links.owner_path(hidden.trial_id, hidden.owner_key), chart_drawn),
        Stop(_answered(site, demo, Working(stage="reading spider.fit", done_frac=0.3)), told),
        Stop(_answered(site, demo, _waiting("the server is busy: number 14 in line, about 3 min")), told),
        Stop(_answered(site, demo, _waiting(NO_MORE)), told),
        Stop(_answered(site, demo, Failed(sentence=CUT_SHORT)), told),
        Stop(f"/{NOWHERE}/result.json", told),
        Stop(f"/{NOWHERE}", told),
        Stop(links.PLAN, planned),
        Stop(links.plan_owner_path(plan.token, plan.owner_key), untouched),
        Stop(f"{links.PLAN}/{plan.token}", untouched),
        Stop(links.DOSSIERS, untouched),
        Stop(links.dossier_owner_path(dossier.address, dossier.owner_key), reviewed),
        Stop(f"{links.DOSSIERS}/{read}", reviewed),
        Stop("/nothing-here", untouched),
    )
    return dict(zip(NAMES, made, strict=True))


def _long_names(site: Site, demo) -> str:
    """A trial whose owner likes to write."""
    named = with_names(
        "Boathouse, a cold evening after the new bearings, second attempt with the trainer levelled",
        "hub of the grey wheel, recalibrated", "spider, second unit of the review", "pedals, right one swapped",
    )(demo.setup)  # fmt: skip
    return links.trial_path(site.services.store.create_trial(demo.recordings, named).trial_id)


def _waiting(stage: str) -> Working:
    return Working(stage=stage, done_frac=0.0, begun=False)


def _answered(site: Site, demo, answer) -> str:
    """A trial of which the site says this and nothing else, however often it is asked."""
    new = site.services.store.create_trial(demo.recordings, demo.setup).trial_id
    ask = site.services.jobs.ask
    site.services.jobs.ask = lambda trial_id: answer if trial_id == new else ask(trial_id)
    return links.trial_path(new)


def _dossier(site: Site):
    said = {
        "words": {"title": "Pedals under review", "reviewer": "R. Example", "conclusion": "Reads a little high when warm."},
        "firmware": {"version": "2.07", "since": "2026-03-01", "note": "first of the review"},
        "bench": (
            {"device": "pedals", "row.quantity": "stack height, axle centre to cleat interface", "row.unit": "mm",
             "row.claimed": "14", "row.readings": "14.3; 14.35; 14.4", "row.setup": "0.5"},
            {"device": "the pair it replaces", "row.quantity": "stack height, axle centre to cleat interface", "row.unit": "mm",
             "row.claimed": "8.8", "row.readings": "10.5; 10.4; 10.6", "row.setup": "0.5"},
            {"device": "pedals", "row.quantity": "mass of the pair", "row.unit": "g", "row.claimed": "310",
             "row.readings": "318.2; 318.4; 318.3"},
        ),
        "incidents": {"day": "2026-03-04", "kind": "drop-out", "what": "Silent for a minute.", "helped": "A new cell."},
        "corrections": {"day": "2026-04-01", "text": "The price was wrong.", "who": "R. Example"},
        "reply": {"day": "2026-04-02", "who": "the maker", "text": "Thank you for the figures."},
    }  # fmt: skip
    made = new_dossier("Pedals under review", "pedals")
    for part, row in said.items():
        made = changed_part(made, {"part": part, "rows": list(row) if isinstance(row, tuple) else [row]})
    report = _judged(site).report
    store, demo = site.services.store, site.services.store.trial(site.demo.split("/")[-1])
    for title in ("Boathouse, a cold evening", "Boathouse, a warm evening with the window open", "Kiln road"):
        path = links.trial_path(store.create_trial(demo.recordings, replace(demo.setup, title=title)).trial_id)
        recordings = [r | {"sha256": f"{title} {r['sha256']}"} for r in report["recordings"]]  # another ride, to the dossier
        told = {**report, "title": title, "recordings": recordings}
        made = with_trial(made, path, "pedals", lambda _, told=told: told)
    return made


def _judged(site: Site, patience_s: float = 120.0):
    end = time.monotonic() + patience_s
    while (found := getattr(site.services.jobs.ask(site.demo.split("/")[-1]), "open_trial", None)) is None:
        assert time.monotonic() < end, "the built-in trial is not judged yet"
        time.sleep(0.1)
    return found
