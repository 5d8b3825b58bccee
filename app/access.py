"""Who may change a trial: the browser that holds its owner key, in a cookie of its own. Everybody else may look.

Every callback or route that changes something calls `require_owner`; the page's own state is never trusted.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import flask

from analysis.errors import CountercheckError
from app import links
from app.services import get_services
from app.store import NoSuchTrial, StoredTrial

COOKIE_PREFIX = "countercheck_owner_"
# By https the browser itself sees to it that no other host and no plain http page wrote the cookie (RFC 6265bis, 4.1.3.2).
HOST_PREFIX = "__Host-"
# 12 characters tell the trials of one browser apart (72 bit).
COOKIE_ID_CHARS = 12
# Browsers cut longer lives down to about 400 days.
COOKIE_AGE_S = 400 * 86400


NOTHING_HERE = "There is no trial at this address; check that the link is complete."


class NotOwner(CountercheckError):
    """The request does not come from the trial's owner."""


def cookie_name(inner_id: str) -> str:
    """By the trial's name in the database, which no address shows and which stays when links come and go."""
    return _prefix() + inner_id[:COOKIE_ID_CHARS]


def _prefix() -> str:
    return HOST_PREFIX + COOKIE_PREFIX if get_services().settings.https else COOKIE_PREFIX


def grant(response: Any, trial_id: str, owner_key: str) -> None:
    """Put the owner key into the browser, with a Flask response or the one of a Dash callback's context.

    HttpOnly: no script reads it. SameSite=Lax: no other site's request carries it. On a public server: Secure, `__Host-`.
    """
    stored = get_services().store.trial(trial_id)
    if stored is None:
        raise NoSuchTrial(NOTHING_HERE)
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


def stored_trial(trial_id: Any) -> StoredTrial | None:
    """The trial at this address as far as the present request may see it; None for everything else, whatever the reason."""
    found = get_services().store.trial(trial_id) if links.is_id(trial_id) else None
    return None if found is None or (found.private and not is_owner(trial_id)) else found


def way_in(trial_id: str) -> str | None:
    """Where an owner who asks for this address is led: a reader link that lives, else the private address; None for others."""
    keys = held()
    return get_services().store.links.way_in(trial_id, keys) if keys and links.is_id(trial_id) else None


def is_owner(trial_id: str) -> bool:
    """Whether the present request carries a key of the trial at this address."""
    return way_in(trial_id) is not None


def require_owner(trial_id: str) -> None:
    """Raises NoSuchTrial, or NotOwner when the present request may only look."""
    if stored_trial(trial_id) is None:
        raise NoSuchTrial(NOTHING_HERE)
    if not is_owner(trial_id):
        raise NotOwner("Only the owner may change this trial; open it with its owner link, or upload the files yourself.")


def own_trials() -> list[StoredTrial]:
    """The trials whose keys this browser holds, newest first."""
    return get_services().store.owned_trials(held())


def held_keys(trial_id: str) -> list[str]:
    """Those of the browser's keys that are this trial's."""
    return [key for key in held() if get_services().store.owner_of(trial_id, key)]


def cookies_of(trial_id: str) -> list[str]:
    """Names of the browser's cookies that hold a key of this trial."""
    store, told = get_services().store, flask.request.cookies.items()
    held = [(name, value.rpartition(".")[2]) for name, value in told if name.startswith(_prefix())]
    return [name for name, key in held if store.owner_of(trial_id, key)]


def forget(response: Any, names: Iterable[str]) -> None:
    """Take cookies out of the browser, of a trial that is there no more."""
    for name in names:
        response.set_cookie(name, "", max_age=0, path="/", httponly=True, samesite="Lax", secure=get_services().settings.https)


def held() -> list[str]:
    """The owner keys in the request's cookies; cookies of earlier versions hold an id before the key."""
    told = (value.rpartition(".")[2] for name, value in flask.request.cookies.items() if name.startswith(_prefix()))
    return [key for key in told if links.is_id(key)]
