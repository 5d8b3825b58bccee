"""A ride plan handed to the sheet of a new trial, as the text of a set-up file: a kept one, or the draft of this browser."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dash import html

from analysis.designing import Design, plan_steps, plan_toml, ridden
from analysis.errors import BadSetup
from analysis.freezing import steps_hash
from analysis.setup import Setup
from app import links
from app.planning import access
from app.planning.keeping import design_of
from app.services import get_services
from app.store import StoredPlan
from app.views.notices import problem
from app.wording import counted, day_and_time


@dataclass(frozen=True, kw_only=True)
class Handed:
    """What the sheet begins with (None: nothing), and the sentence that says so."""

    setup_text: str | None
    notice: Any


def plan_for_sheet(token: Any) -> Handed | None:
    """The plan at this address with the loss it reckoned with; None where there is none."""
    stored = access.stored_plan(token)
    if stored is None:
        return None
    when = f", frozen {day_and_time(stored.frozen_utc)}" if stored.frozen_utc else ""
    return _handed(stored.design, when, links.plan_path(stored.token), frozen=_frozen_table(stored))


def draft_for_sheet(sent: Any) -> Handed:
    """The draft that a browser holds; a sentence where it holds none, or one that cannot be ridden."""
    draft = sent.get("draft") if isinstance(sent, Mapping) else None
    if not isinstance(draft, Mapping):
        return Handed(setup_text=None, notice=problem("This browser holds no draft of a ride plan; lay one out first."))
    try:
        return _handed(design_of(draft), ", a draft", links.PLAN)
    except BadSetup as trouble:
        return Handed(setup_text=None, notice=problem(f"The draft of the ride plan is left out. {trouble}"))


def plan_named(setup: Setup) -> str | None:
    """Where the plan is kept that a set-up says was frozen beforehand; None unless this server froze it, with those steps."""
    said = setup.frozen_plan
    stored = None if said is None else get_services().store.plans.frozen_as(said.sha256, said.frozen_utc)
    if stored is None or steps_hash(plan_steps(stored.design)) != said.steps_sha256:
        return None
    return links.plan_path(stored.token)


def _frozen_table(stored: StoredPlan) -> str:
    """What lets the trial say that this plan came first; no address, for a set-up leaves the server with its trial."""
    if stored.frozen_utc is None:
        return ""
    steps = steps_hash(plan_steps(stored.design))
    lines = (f'sha256 = "{stored.fingerprint}"', f'frozen_utc = "{stored.frozen_utc}"', f'steps_sha256 = "{steps}"')
    return "\n".join(["[frozen_plan]", *lines]) + "\n\n"


def _handed(design: Design, state: str, path: str, *, frozen: str = "") -> Handed:
    low, high = design.aim.loss_pct
    words = f"The ride plan {design.title} ({counted(len(ridden(design)), 'step')}{state}) "
    notice = html.Div(
        html.P(
            [
                words + "is used: its steps will stand in the sheet. ",
                html.A("Look at it", href=path), " or ", html.A("leave it out", href=links.HOME), ".",
            ]
        ),
        className="notice",
        role="note",
    )  # fmt: skip
    text = f"[drivetrain]\nloss_pct = [{low!r}, {high!r}]\n\n{frozen}{plan_toml(design)}"
    return Handed(setup_text=text, notice=notice)
