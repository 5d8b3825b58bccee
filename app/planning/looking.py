"""What comes of a plan: its figures from `analysis`, its page for whoever asks."""

from __future__ import annotations

import time
from collections.abc import Mapping
from typing import Any

from dash import html

from analysis.default_design import USUAL_AIM, core_design, default_design
from analysis.designing import Design, counted_steps, plan_toml
from analysis.forecast import DEFAULT_NOISE, Noise, forecast, noise_of
from analysis.settling import NEVER, settling, ways_out
from app import links, showing
from app.access import own_trials
from app.planning import access
from app.planning.drafts import plain_texts, read_draft, texts_of
from app.planning.keeping import design_of
from app.planning.routes import workout_of
from app.services import base_url
from app.store import StoredPlan
from app.views.frozen import html_text
from app.views.parts import notice
from app.views.planning.editor import editor
from app.views.planning.forecast import Forecast
from app.views.planning.page import Found, Kept, editing_page, found_of, kept_page, links_notice
from app.views.planning.steps import part_words

# A plan needs some figure to begin with; the field says whose it is to be.
EXAMPLE_HOUR_W = 250.0
OWN = "own:"
# Enough trials for a median, few enough to open while somebody types.
OWN_TRIALS = 8
STARTS = {"whole": default_design, "core": core_design}
EMPTY = {"title": "", "hour": f"{EXAMPLE_HOUR_W:g}", "seed": "0", "parts": []}


def start_texts(name: Any) -> dict[str, Any]:
    """The texts of a named beginning; an empty plan for any other name."""
    if name in STARTS:
        return texts_of(STARTS[name](EXAMPLE_HOUR_W))
    return texts_of(Design(title="", parts=(), aim=USUAL_AIM)) | EMPTY


def found(design: Design, noise: Noise = DEFAULT_NOISE) -> Found:
    """Everything that the editor shows beside itself."""
    return found_of(design, forecast_of(design, noise))


def told(sent: Any) -> tuple[Found | None, dict[str, Any]]:
    """What stands in the editor -> what comes of it, or None; and the sentences by field, with words for every part."""
    read = read_draft(sent)
    if read.design is None:
        return None, {"problems": dict(read.problems)}
    return found(read.design, noise_for(sent)), {"problems": {}, "parts": part_words(read.design)}


def noise_for(sent: Any) -> Noise:
    """The noise that a draft asks for: of a device in trials of one's own, else the defaults."""
    choice = sent.get("noise") if isinstance(sent, Mapping) else None
    if not isinstance(choice, str) or not choice.startswith(OWN):
        return DEFAULT_NOISE
    opened = [showing.open_trial(trial.trial_id) for trial in own_trials()[:OWN_TRIALS]]
    label = choice.removeprefix(OWN)
    reports = [o.report for o in opened if o is not None and label in {d["label"] for d in o.report["deltas"]}]
    return noise_of(reports, label)


def own_labels() -> list[str]:
    """Devices of one's own trials, by the labels that their set-ups give."""
    labels = {device.label for trial in own_trials()[:OWN_TRIALS] for device in trial.setup.devices if device.label}
    return sorted(labels)


def editor_page(
    texts: Mapping[str, Any], kept: Kept | None = None, *, said: Any = None, done: Any = None
) -> html.Article:
    """The designer, beginning with these texts."""
    shown, _ = told(texts)
    return editing_page(texts, own_labels(), shown or Found(top="", answer="", steps=""), kept=kept, said=said, done=done)


def begun(start: Any) -> str:
    """The editor's form as HTML: a named beginning, or the texts of a draft; whatever is none gives an empty plan."""
    tree = start if isinstance(start, Mapping) else {}
    return html_text(editor(plain_texts(tree["draft"]) if "draft" in tree else start_texts(tree.get("from"))))


def file_of(asked: Any) -> tuple[bytes, str]:
    """What stands in the editor as a file's bytes and name. Raises BadSetup."""
    tree = asked if isinstance(asked, Mapping) else {}
    design = design_of(tree.get("draft"))
    if tree.get("act") == "toml":
        return plan_toml(design).encode(), "ride-plan.toml"
    return workout_of(design, int(time.time())), "ride-plan.fit"


def page_of(stored: StoredPlan, *, owner_key: str | None = None, said: str = "") -> html.Article:
    """A kept plan's page: the editor for its owner until it is frozen, else to be looked at.

    With `owner_key` (the plan is new) its addresses are told, this once.
    """
    kept = Kept(token=stored.token, created_utc=stored.created_utc, frozen_utc=stored.frozen_utc, fingerprint=stored.fingerprint)
    told, done = None, html.Div(notice(said), role="status") if said else None
    if owner_key is not None:
        paths = links.plan_owner_path(stored.token, owner_key), links.plan_path(stored.token)
        told = links_notice(*(links.absolute(base_url(), path) for path in paths))
    owned = owner_key is not None or access.is_owner(stored.token)
    if stored.frozen_utc is None and owned:
        return editor_page(texts_of(stored.design), kept, said=told, done=done)
    return kept_page(kept, stored.design, forecast_of(stored.design, DEFAULT_NOISE), said=told or done, owned=owned)


def forecast_of(design: Design, noise: Noise) -> Forecast:
    """What the plan can show and settle, and what would let it settle a claim that it cannot."""
    rows = forecast(counted_steps(design), noise)
    held = rows[0] if rows and rows[0].kind == "steady" else None
    if held is None:
        return Forecast(rows=rows, noise=noise)
    settled = settling(held, design.aim, noise)
    ways = ways_out(held, design.aim, noise) if settled.answer == NEVER else ()
    return Forecast(rows=rows, noise=noise, settled=settled, ways=ways)
