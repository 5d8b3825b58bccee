"""From a kept dossier to what stands on its page, for owners and readers; who may see and change it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from dash import html

from analysis.dossier.document import Dossier
from analysis.dossier.standing import stand_of
from analysis.errors import CountercheckError
from app import access, freezing, keeping, links
from app.access import stored_dossier
from app.dossiers import changing, drawing
from app.editing import version_of
from app.jobs import Ready, Working
from app.services import get_services
from app.showing import theme_of
from app.store import NoSuchTrial
from app.views.dossier.editing import editor, way_to_forms
from app.views.dossier.reading import reading_view
from app.views.links import links_panel
from app.views.pictures import drawn


class NotReady(CountercheckError):
    """A trial whose result is not there yet, or cannot be had."""


def content(address: Any) -> Any:
    """The whole page; an owner finds the forms below it."""
    found = stored_dossier(address)
    if found is None:
        return None
    get_services().store.dossiers.openings.note(found.inner_id)
    stand = stand_of(found.dossier.trials)
    page = reading_view(found.dossier, stand, changed_utc=found.changed_utc, address=address, closed=closed(found.dossier))
    if not access.is_owner(address, access.DOSSIER):
        return page
    forms = editor(found.dossier, stand, version=found.version, panel=links_panel(keeping.shelf(found)))
    return html.Div([way_to_forms(), page, forms])


def closed(dossier: Dossier) -> frozenset[str]:
    """Keys of the trials that were added by a link under which nothing is found any more."""
    asked = {entry.key: links.trial_in(entry.link) for entry in dossier.trials if entry.link}
    there = get_services().store.open_to_readers(filter(None, asked.values()))
    return frozenset(key for key, address in asked.items() if address not in there)


def picture(address: Any, name: Any, theme: Any) -> Any:
    """A picture as its component; None where there is nothing to draw."""
    found = stored_dossier(address)
    figure = None if found is None else drawing.picture(found.dossier, name, theme_of(theme))
    return None if figure is None else drawn(figure)


def report_of(trial_id: str) -> Mapping[str, Any]:
    """The result of the trial at this address. Raises NotReady, NoSuchTrial or DeltasHidden; each says what to do."""
    stored = access.stored_trial(trial_id)
    if stored is None:
        raise NoSuchTrial()
    freezing.refuse_hidden(stored)
    answer = get_services().jobs.ask(trial_id)
    if isinstance(answer, Working):
        raise NotReady("The trial is still being analysed; open its page, wait for the result, and try again.")
    if not isinstance(answer, Ready):
        raise NotReady(f"The trial has no result: {answer.sentence}")
    return answer.open_trial.report


def change(address: Any, form: Any) -> tuple[str, ...]:
    """Do what a form of the owner's asks for and keep it; what came of it in sentences.

    Raises
    ------
    NoSuchDossier, NotOwner, BadSetup, ChangedMeanwhile
        One sentence; nothing is kept.
    """
    found = access.require_owner(address, access.DOSSIER)
    form = form if isinstance(form, Mapping) else {}
    seen = version_of(form)
    said: tuple[str, ...] = ()
    act, fields = form.get("act"), form.get("rows") or [{}]
    first = fields[0] if isinstance(fields, list) and isinstance(fields[0], Mapping) else {}
    today = datetime.now(UTC).date().isoformat()
    if act == "add-trial":
        link, label = (str(first.get(key) or "") for key in ("link", "label"))
        new = changing.with_trial(found.dossier, link, label, report_of, today=today)
    elif act == "look-again":
        new, said = changing.looked_at_again(found.dossier, report_of, today=today)
    elif act == "answers":
        new = changing.with_answers(found.dossier, first)
    else:
        new = changing.changed_part(found.dossier, form)
    if new != found.dossier:
        get_services().store.dossiers.change(address, new, seen_version=seen)
    return said
