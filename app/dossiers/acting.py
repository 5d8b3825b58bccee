"""What a form of a dossier's page asks for, done; what is to be said of it, or where the page goes on. Its links: `keeping`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dash import html

from app import access, links
from app.dossiers import showing
from app.dossiers.changing import new_dossier
from app.services import get_services
from app.views.parts import notice


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
    if form.get("act") == "new":
        return _new(form, response)
    troubles = showing.change(address, form)
    return Told(said=html.Div([notice("Kept."), *(notice(t, kind="problem") for t in troubles)]))


def _new(form: Mapping[str, Any], response: Any) -> Told:
    first, services = _first(form), get_services()
    services.gate.new_trial()
    new = services.store.dossiers.create(new_dossier(str(first.get("title") or ""), str(first.get("device") or "")))
    access.grant(response, new.address, new.owner_key, access.DOSSIER)
    return Told(lead_to=links.dossier_path(new.address))


def _first(form: Mapping[str, Any]) -> Mapping[str, Any]:
    rows = form.get("rows")
    return rows[0] if isinstance(rows, list) and rows and isinstance(rows[0], Mapping) else {}
