"""What the owner does with the links of a trial or dossier and with itself, from a form of the page to the store and back.

Each form names its act, and the version of what it was made for: of the links, or for deletion of the set-up or dossier.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from analysis.errors import BadSetup, CountercheckError
from app import access, links
from app.access import DOSSIER, TRIAL, Kind
from app.editing import version_of
from app.services import Services, base_url, get_services
from app.store import GivenOut, StoredDossier, StoredTrial

CONFIRM = "delete"


@dataclass(frozen=True, kw_only=True)
class Shelf:
    """What the panel shows: the links, as whom this browser came in, where it is; `version` is what deletion must name."""

    kind: Kind
    links: GivenOut
    own_names: frozenset[str]
    address: str
    private: bool
    base: str
    version: int


@dataclass(frozen=True, kw_only=True)
class Told:
    """What came of an act; `lead_to` is a path to go on at, `owner_link` is told this once."""

    owner_link: str | None = None
    problem: str | None = None
    lead_to: str | None = None
    deleted: bool = False


def shelf(stored: StoredTrial | StoredDossier) -> Shelf:
    """For the present request, which the caller knows to be the owner's."""
    if isinstance(stored, StoredTrial):
        kind, address, version = TRIAL, stored.trial_id, stored.setup_version
    else:
        kind, address, version = DOSSIER, stored.address, stored.version
    own = frozenset(kind.links.name_of(key) for key in access.held_keys(address, kind))
    return Shelf(
        kind=kind, links=kind.links.of(address), own_names=own, address=address, private=stored.private, base=base_url(),
        version=version,
    )  # fmt: skip


def act(address: Any, form: Any, kind: Kind = TRIAL) -> Told:
    """Do what a form asks for; the caller has checked the key. Every complaint is one sentence in `problem`."""
    fields = {str(k): v for k, v in form.items() if isinstance(v, str)} if isinstance(form, Mapping) else {}
    doing = ACTS.get(fields.get("act", ""))
    if doing is None:
        return Told(problem="The page asked for something this program does not know; reload it and try again.")
    try:
        return doing(kind, address, fields, version_of(fields))
    except CountercheckError as trouble:
        return Told(problem=str(trouble))


def _new_reader(kind: Kind, address: str, fields: Mapping[str, str], seen: int) -> Told:
    kind.links.new_reader(address, label=fields.get("label", ""), expires=fields.get("expires", ""), seen_version=seen)
    return Told()


def _change_reader(kind: Kind, address: str, fields: Mapping[str, str], seen: int) -> Told:
    about = {"label": fields.get("label", ""), "expires": fields.get("expires", "")}
    kind.links.change_reader(address, fields.get("name", ""), **about, seen_version=seen)
    return Told()


def _revoke_reader(kind: Kind, address: str, fields: Mapping[str, str], seen: int) -> Told:
    kind.links.revoke_reader(address, fields.get("name", ""), seen_version=seen)
    return _led(kind, address)


def _new_owner(kind: Kind, address: str, fields: Mapping[str, str], seen: int) -> Told:
    about = {"label": fields.get("label", ""), "expires": fields.get("expires", "")}
    key = kind.links.new_owner(address, **about, seen_version=seen)
    return Told(owner_link=links.absolute(base_url(), kind.owner_path(address, key)))


def _revoke_owner(kind: Kind, address: str, fields: Mapping[str, str], seen: int) -> Told:
    kind.links.revoke_owner(address, fields.get("name", ""), seen_version=seen, even_the_last=bool(fields.get("meant")))
    return Told() if access.is_owner(address, kind) else Told(lead_to=kind.path(address))


def _delete(kind: Kind, address: str, fields: Mapping[str, str], seen: int) -> Told:
    if fields.get("confirm", "").strip().lower() != CONFIRM:
        raise BadSetup(f'Nothing was deleted: type the word "{CONFIRM}" into the field first.')
    if kind is TRIAL:
        delete(get_services(), address, seen_version=seen)
    else:
        get_services().store.dossiers.delete(address, seen_version=seen)
    return Told(deleted=True)


ACTS = {
    "new-reader": _new_reader, "change-reader": _change_reader, "revoke-reader": _revoke_reader,
    "new-owner": _new_owner, "revoke-owner": _revoke_owner, "delete": _delete,
}  # fmt: skip


def delete(services: Services, trial_id: str, *, seen_version: int) -> None:
    """Delete a trial and what was computed of it. Raises NoSuchTrial, ChangedMeanwhile."""
    stored = services.store.trial(trial_id)
    versions = services.store.history(trial_id)
    services.store.delete_trial(trial_id, seen_version=seen_version)
    for version in versions:
        services.jobs.forget(replace(stored, setup=version.setup))


def _led(kind: Kind, address: str) -> Told:
    """On to the address that is open now, where the present one is not any more."""
    current = access.way_in(address, kind)
    return Told() if current in (None, address) else Told(lead_to=kind.path(current))
