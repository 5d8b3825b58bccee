"""Who may change a trial: the browser that holds its owner key, in a cookie of its own. Everybody else may look.

Every callback or route that changes something calls `require_owner`; the page's own state is never trusted.
"""

from __future__ import annotations

from typing import Any

import flask

from analysis.errors import CountercheckError
from app import links
from app.services import get_services
from app.store import NoSuchTrial, StoredTrial

COOKIE_PREFIX = "countercheck_owner_"
# By https the browser itself sees to it that no other host and no plain http page wrote the cookie (RFC 6265bis, 4.1.3.2).
HOST_PREFIX = "__Host-"
# 12 characters of the id tell the trials of one browser apart (72 bit) and do not open anybody else's page.
COOKIE_ID_CHARS = 12
# Browsers cut longer lives down to about 400 days.
COOKIE_AGE_S = 400 * 86400


class NotOwner(CountercheckError):
    """The request does not come from the trial's owner."""


def cookie_name(trial_id: str) -> str:
    return _prefix() + trial_id[:COOKIE_ID_CHARS]


def _prefix() -> str:
    return HOST_PREFIX + COOKIE_PREFIX if get_services().settings.https else COOKIE_PREFIX


def grant(response: Any, trial_id: str, owner_key: str) -> None:
    """Put the owner key into the browser, with a Flask response or the one of a Dash callback's context.

    HttpOnly: no script reads it. SameSite=Lax: no other site's request carries it. On a public server: Secure, `__Host-`.
    """
    response.set_cookie(
        cookie_name(trial_id),
        f"{trial_id}.{owner_key}",
        max_age=COOKIE_AGE_S,
        httponly=True,
        samesite="Lax",
        secure=flask.request.is_secure or get_services().settings.https,
        path="/",
    )


def is_owner(trial_id: str) -> bool:
    """Whether the present request carries a key of this trial."""
    if not links.is_id(trial_id):
        return False
    held_id, _, key = flask.request.cookies.get(cookie_name(trial_id), "").partition(".")
    return held_id == trial_id and bool(key) and get_services().store.owner_of(trial_id, key)


def require_owner(trial_id: str) -> None:
    """Raises NoSuchTrial, or NotOwner when the present request may only look."""
    if not links.is_id(trial_id) or get_services().store.trial(trial_id) is None:
        raise NoSuchTrial("There is no trial at this address; check that the link is complete.")
    if not is_owner(trial_id):
        raise NotOwner(
            "Only the owner may change this trial; open it with its owner link, or upload the files yourself."
        )


def own_trials() -> list[StoredTrial]:
    """The trials whose keys this browser holds, newest first."""
    held = [value.partition(".")[0] for name, value in flask.request.cookies.items() if name.startswith(_prefix())]
    return get_services().store.trials_of([trial_id for trial_id in held if is_owner(trial_id)])
