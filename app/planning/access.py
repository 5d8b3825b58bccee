"""Who may change a ride plan: the browser that holds its owner key, in a cookie of its own. Whoever has the address may look."""

from __future__ import annotations

from typing import Any

import flask

from app import links
from app.access import COOKIE_AGE_S, COOKIE_ID_CHARS, HOST_PREFIX, NotOwner
from app.services import get_services
from app.store import NoSuchPlan, StoredPlan

COOKIE_PREFIX = "countercheck_plan_"


def cookie_name(token: str) -> str:
    prefix = HOST_PREFIX + COOKIE_PREFIX if get_services().settings.https else COOKIE_PREFIX
    return prefix + token[:COOKIE_ID_CHARS]


def grant(response: Any, token: str, owner_key: str) -> None:
    """Put a plan's owner key into the browser, as `app.access.grant` does for a trial's."""
    response.set_cookie(
        cookie_name(token), owner_key, max_age=COOKIE_AGE_S, httponly=True, samesite="Lax",
        secure=flask.request.is_secure or get_services().settings.https, path="/",
    )  # fmt: skip


def stored_plan(token: Any) -> StoredPlan | None:
    """The plan at this address; None for everything else."""
    return get_services().store.plans.of(token) if links.is_id(token) else None


def is_owner(token: Any) -> bool:
    """Whether the present request carries the key of the plan at this address."""
    if not links.is_id(token):
        return False
    key = flask.request.cookies.get(cookie_name(token), "")
    return bool(key) and get_services().store.plans.owner_of(token, key)


def require_owner(token: Any) -> None:
    """Raises NoSuchPlan, or NotOwner when the present request may only look."""
    if stored_plan(token) is None:
        raise NoSuchPlan()
    if not is_owner(token):
        raise NotOwner("Only the owner may change this plan; open it with its owner link, or make a changed copy.")
