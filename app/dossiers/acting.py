"""What a form of a dossier's page asks for, done; what is to be said of it, or where the page goes on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dash import html

from analysis.errors import BadSetup
from app import access, links
from app.dossiers import showing
from app.dossiers.changing import new_dossier
from app.services import base_url, get_services
from app.views.parts import notice, owner_link

DELETE_WORD = "delete"


@dataclass(frozen=True, kw_only=True)
class Told:
    """What came of a form."""

    said: Any = None
    lead_to: str | None = None


def act(address: Any, form: Any, response: Any) -> Told:
    """Do it. Every act but a new dossier asks for the owner's key.

    Raises
    ------
    NoSuchDossier, NotOwner, BadSetup, ChangedMeanwhile, NotReady
        One sentence; nothing is kept.
    """
    form = form if isinstance(form, Mapping) else {}
    what, store = form.get("act"), get_services().store.dossiers
    if what == "new":
        return _new(form, response)
    found = showing.require_owner(address)
    if what == "publish":
        store.publish(address)
        return Told(said=notice("Published: whoever has the reader link can read this dossier."))
    if what == "withdraw":
        store.withdraw(address)
        return Told(said=notice("Withdrawn: the reader link leads nowhere from now on. Publishing again makes another."))
    if what == "owner-link":
        key = store.new_owner_key(address)
        return Told(said=owner_link(links.absolute(base_url(), links.dossier_owner_path(found.own_address, key))))
    if what == "revoke-others":
        store.revoke_other_keys(address, [key for key in access.held() if store.owned(address, [key])])
        return Told(said=notice("Every other owner link and browser lost its hold on this dossier; only this browser keeps it."))
    if what == "delete":
        if str(_first(form).get("sure") or "").strip().lower() != DELETE_WORD:
            raise BadSetup(f"Nothing was deleted; type {DELETE_WORD} to mean it.")
        store.delete(address)
        return Told(lead_to=links.DOSSIERS)
    troubles = showing.change(address, form)
    return Told(said=html.Div([notice("Kept."), *(notice(t, kind="problem") for t in troubles)]))


def _new(form: Mapping[str, Any], response: Any) -> Told:
    first, services = _first(form), get_services()
    services.gate.new_trial()
    new = services.store.dossiers.create(new_dossier(str(first.get("title") or ""), str(first.get("device") or "")))
    showing.grant(response, new.address, new.owner_key)
    return Told(lead_to=links.dossier_path(new.address))


def _first(form: Mapping[str, Any]) -> Mapping[str, Any]:
    rows = form.get("rows")
    return rows[0] if isinstance(rows, list) and rows and isinstance(rows[0], Mapping) else {}
