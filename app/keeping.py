"""What the owner does with a trial's links and with the trial itself, from a form of the page to the store and back.

Each form names its act, and the version of what it was made for: of the links, or for deletion of the set-up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from analysis.errors import BadSetup, CountercheckError
from app import access, links
from app.editing import version_of
from app.services import Services, base_url, get_services
from app.store import StoredTrial, TrialLinks

CONFIRM = "delete"


@dataclass(frozen=True, kw_only=True)
class Shelf:
    """What the panel shows: the links, as whom this browser came in, where it is."""

    links: TrialLinks
    own_names: frozenset[str]
    address: str
    private: bool
    base: str
    setup_version: int


@dataclass(frozen=True, kw_only=True)
class Told:
    """What came of an act; `lead_to` is a path to go on at, `owner_link` is told this once."""

    owner_link: str | None = None
    problem: str | None = None
    lead_to: str | None = None
    deleted: bool = False


def shelf(stored: StoredTrial) -> Shelf:
    """For the present request, which the caller knows to be the owner's."""
    links_store = get_services().store.links
    own = frozenset(links_store.name_of(key) for key in access.held_keys(stored.trial_id))
    return Shelf(
        links=links_store.of(stored.trial_id), own_names=own, address=stored.trial_id, private=stored.private,
        base=base_url(), setup_version=stored.setup_version,
    )  # fmt: skip


def act(trial_id: Any, form: Any) -> Told:
    """Do what a form asks for; the caller has checked the key. Every complaint is one sentence in `problem`."""
    fields = {str(k): v for k, v in form.items() if isinstance(v, str)} if isinstance(form, Mapping) else {}
    doing = ACTS.get(fields.get("act", ""))
    if doing is None:
        return Told(problem="The page asked for something this program does not know; reload it and try again.")
    try:
        return doing(trial_id, fields, version_of(fields))
    except CountercheckError as trouble:
        return Told(problem=str(trouble))


def _new_reader(trial_id: str, fields: Mapping[str, str], seen: int) -> Told:
    _links().new_reader(trial_id, label=fields.get("label", ""), expires=fields.get("expires", ""), seen_version=seen)
    return Told()


def _change_reader(trial_id: str, fields: Mapping[str, str], seen: int) -> Told:
    about = {"label": fields.get("label", ""), "expires": fields.get("expires", "")}
    _links().change_reader(trial_id, fields.get("name", ""), **about, seen_version=seen)
    return Told()


def _revoke_reader(trial_id: str, fields: Mapping[str, str], seen: int) -> Told:
    _links().revoke_reader(trial_id, fields.get("name", ""), seen_version=seen)
    return _led(trial_id)


def _new_owner(trial_id: str, fields: Mapping[str, str], seen: int) -> Told:
    key = _links().new_owner(trial_id, label=fields.get("label", ""), expires=fields.get("expires", ""), seen_version=seen)
    return Told(owner_link=links.absolute(base_url(), links.owner_path(trial_id, key)))


def _revoke_owner(trial_id: str, fields: Mapping[str, str], seen: int) -> Told:
    _links().revoke_owner(trial_id, fields.get("name", ""), seen_version=seen, even_the_last=bool(fields.get("meant")))
    return Told() if access.is_owner(trial_id) else Told(lead_to=links.trial_path(trial_id))


def _delete(trial_id: str, fields: Mapping[str, str], seen: int) -> Told:
    if fields.get("confirm", "").strip().lower() != CONFIRM:
        raise BadSetup(f'Nothing was deleted: type the word "{CONFIRM}" into the field first.')
    delete(get_services(), trial_id, seen_version=seen)
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


def _links() -> Any:
    return get_services().store.links


def _led(trial_id: str) -> Told:
    """On to the address that is open now, where the present one is not any more."""
    current = access.way_in(trial_id)
    return Told() if current in (None, trial_id) else Told(lead_to=links.trial_path(current))
