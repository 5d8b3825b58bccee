"""Who may change a trial or a dossier: the browser that holds its owner key, in a cookie of its own. Everybody else may look.

Every callback or route that changes something calls `require_owner`; the page's own state is never trusted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import flask

from analysis.errors import CountercheckError
from app import links
from app.services import get_services
from app.store import Links, NoSuchDossier, NoSuchTrial, Store, StoredDossier, StoredTrial, StoreProblem

COOKIE_PREFIX = "countercheck_owner_"
# By https the browser itself sees to it that no other host and no plain http page wrote the cookie (RFC 6265bis, 4.1.3.2).
HOST_PREFIX = "__Host-"
# 12 characters tell the trials of one browser apart (72 bit).
COOKIE_ID_CHARS = 12
# Browsers cut longer lives down to about 400 days.
COOKIE_AGE_S = 400 * 86400


class NotOwner(CountercheckError):
    """The request does not come from an owner."""


@dataclass(frozen=True, kw_only=True)
class Kind:
    """What is kept under links: its word, its addresses, and where its store finds it and its links."""

    noun: str
    path: Callable[[str], str]
    owner_path: Callable[[str, str], str]
    find: Callable[[Store, str], Any]
    links_in: Callable[[Store], Links]
    missing: type[StoreProblem]

    @property
    def links(self) -> Links:
        """All links of this kind that the present app keeps."""
        return self.links_in(get_services().store)


TRIAL = Kind(
    noun="trial", path=links.trial_path, owner_path=links.owner_path, find=lambda store, address: store.trial(address),
    links_in=lambda store: store.links, missing=NoSuchTrial,
)  # fmt: skip
DOSSIER = Kind(
    noun="dossier", path=links.dossier_path, owner_path=links.dossier_owner_path,
    find=lambda store, address: store.dossiers.of(address), links_in=lambda store: store.dossiers.links, missing=NoSuchDossier,
)  # fmt: skip


def cookie_name(inner_id: str) -> str:
    """By the name in the database, which no address shows and which stays when links come and go."""
    return _prefix() + inner_id[:COOKIE_ID_CHARS]


def _prefix() -> str:
    return HOST_PREFIX + COOKIE_PREFIX if get_services().settings.https else COOKIE_PREFIX


def grant(response: Any, address: str, owner_key: str, kind: Kind = TRIAL) -> None:
    """Put the owner key into the browser, with a Flask response or the one of a Dash callback's context.

    HttpOnly: no script reads it. SameSite=Lax: no other site's request carries it. On a public server: Secure, `__Host-`.
    """
    stored = kind.find(get_services().store, address)
    if stored is None:
        raise kind.missing()
    put_key(response, stored.inner_id, owner_key)


def put_key(response: Any, inner_id: str, owner_key: str) -> None:
    """Put a key into the browser, of whatever in the database has this name."""
    response.set_cookie(
        cookie_name(inner_id),
        owner_key,
        max_age=COOKIE_AGE_S,
        httponly=True,
        samesite="Lax",
        secure=flask.request.is_secure or get_services().settings.https,
        path="/",
    )


def seen(address: Any, kind: Kind = TRIAL) -> Any:
    """What stands at this address as far as the present request may see it; None for everything else, whatever the reason."""
    found = kind.find(get_services().store, address) if links.is_id(address) else None
    return None if found is None or (found.private and not is_owner(address, kind)) else found


def stored_trial(trial_id: Any) -> StoredTrial | None:
    """The trial at this address, likewise."""
    return seen(trial_id)


def stored_dossier(address: Any) -> StoredDossier | None:
    """The dossier at this address, likewise."""
    return seen(address, DOSSIER)


def way_in(address: str, kind: Kind = TRIAL) -> str | None:
    """Where an owner who asks for this address is led: a reader link that lives, else the private address; None for others."""
    keys = held()
    return kind.links.way_in(address, keys) if keys and links.is_id(address) else None


def is_owner(address: str, kind: Kind = TRIAL) -> bool:
    """Whether the present request carries a key of what stands at this address."""
    return way_in(address, kind) is not None


def require_owner(address: Any, kind: Kind = TRIAL) -> Any:
    """What stands there, to be changed. Raises NoSuchTrial or NoSuchDossier; NotOwner when the present request may only look."""
    found = seen(address, kind)
    if found is None:
        raise kind.missing()
    if not is_owner(address, kind):
        raise NotOwner(f"Only the owner may change this {kind.noun}; open it with its owner link, or make one of your own.")
    return found


def own_trials() -> list[StoredTrial]:
    """The trials whose keys this browser holds, newest first."""
    return get_services().store.owned_trials(held())


def held_keys(address: str, kind: Kind = TRIAL) -> list[str]:
    """Those of the browser's keys that open what stands at this address."""
    return [key for key in held() if kind.links.owned(address, [key])]


def cookies_of(address: str, kind: Kind = TRIAL) -> list[str]:
    """Names of the browser's cookies that hold such a key."""
    told = [(name, value.rpartition(".")[2]) for name, value in flask.request.cookies.items() if name.startswith(_prefix())]
    return [name for name, key in told if kind.links.owned(address, [key])]


def forget(response: Any, names: Iterable[str]) -> None:
    """Take cookies out of the browser, of what is there no more."""
    for name in names:
        response.set_cookie(name, "", max_age=0, path="/", httponly=True, samesite="Lax", secure=get_services().settings.https)


def held() -> list[str]:
    """The owner keys in the request's cookies; cookies of earlier versions hold an id before the key."""
    told = (value.rpartition(".")[2] for name, value in flask.request.cookies.items() if name.startswith(_prefix()))
    return [key for key in told if links.is_id(key)]
