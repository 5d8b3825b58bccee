"""The acts that keep, change, freeze and delete a plan. Who may, the callback asks first; see `app.planning.access`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.designing import Design
from analysis.errors import BadSetup
from app.planning.drafts import read_draft
from app.services import Services
from app.store import StoredPlan

KEEP, SAVE, FREEZE, DELETE = "keep", "save", "freeze", "delete"


@dataclass(frozen=True, kw_only=True)
class Done:
    """What there is now: the plan (None once it is deleted), its key where it is new, a sentence for its owner."""

    stored: StoredPlan | None
    owner_key: str | None = None
    said: str = ""


def design_of(sent: Any) -> Design:
    """The design that stands in the editor. Raises BadSetup with its first complaint."""
    read = read_draft(sent)
    if read.design is None:
        raise BadSetup(f"Correct the marked fields first. {next(iter(read.problems.values()))}")
    return read.design


def keep(services: Services, asked: Any) -> Done:
    """Keep what stands in the editor under an address of its own, frozen at once where that is asked.

    Raises BadSetup, TooMany, OverQuota.
    """
    design = design_of(_draft(asked))
    services.gate.new_trial()
    new = services.store.plans.create(design)
    if _act(asked) == FREEZE:
        services.store.plans.freeze(new.token, seen_version=1)
    return Done(stored=services.store.plans.of(new.token), owner_key=new.owner_key)


def change(services: Services, token: str, asked: Any, *, seen_version: Any) -> Done:
    """What its owner asks of a kept plan. Raises BadSetup, NoSuchPlan, PlanFrozen, ChangedMeanwhile."""
    plans, wanted = services.store.plans, _act(asked)
    if wanted == DELETE:
        plans.delete(token)
        return Done(stored=None)
    if wanted not in (SAVE, FREEZE):
        raise BadSetup(f"A kept plan can be saved, frozen or deleted; got {wanted!r}.")
    seen = seen_version if isinstance(seen_version, int) and not isinstance(seen_version, bool) else 0
    version = plans.change(token, design_of(_draft(asked)), seen_version=seen)
    if wanted == FREEZE:
        return Done(stored=plans.freeze(token, seen_version=version), said="The plan is frozen.")
    return Done(stored=plans.of(token), said="The changes are saved.")


def _act(asked: Any) -> str:
    act = asked.get("act") if isinstance(asked, Mapping) else None
    return act if isinstance(act, str) else ""


def _draft(asked: Any) -> Any:
    return asked.get("draft") if isinstance(asked, Mapping) else None
