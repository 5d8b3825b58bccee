"""Plain addresses of a kept plan: its workout, its set-up entries, its owner link. None of them changes anything."""

from __future__ import annotations

from datetime import datetime

import flask

from analysis.designing import Design, plan_toml
from app import links
from app.planning import access
from app.services import get_services
from app.store import NoSuchPlan, StoredPlan

FIT = "application/vnd.ant.fit"


def register(server: flask.Flask) -> None:
    """Add the routes."""
    server.add_url_rule("/plan/<token>/workout.fit", "plan_workout", workout)
    server.add_url_rule("/plan/<token>/plan.toml", "plan_toml", toml)
    server.add_url_rule("/own-plan/<token>/<owner_key>", "own_plan", own)


def workout(token: str) -> flask.Response:
    """A kept plan as a FIT workout."""
    stored = _stored(token)
    made_s = int(datetime.fromisoformat(stored.frozen_utc or stored.created_utc).timestamp())
    return _attachment(workout_of(stored.design, made_s), FIT, f"ride-plan-{token[:8]}.fit")


def workout_of(design: Design, made_s: int) -> bytes:
    """A design as a FIT workout; its writer is loaded only where one is asked for. [Unix s]"""
    from analysis.workout import workout_bytes

    return workout_bytes(design, created_s=made_s)


def toml(token: str) -> flask.Response:
    """A kept plan as `[[plan]]` entries."""
    return _attachment(plan_toml(_stored(token).design).encode(), "application/toml", f"ride-plan-{token[:8]}.toml")


def own(token: str, owner_key: str) -> flask.Response:
    """The owner link: the key moves from the address into a cookie."""
    if not links.is_id(token) or not get_services().store.plans.owner_of(token, owner_key):
        raise NoSuchPlan()
    response = flask.redirect(links.plan_path(token), code=303)
    response.headers["Cache-Control"] = "no-store"
    access.grant(response, token, owner_key)
    return response


def _stored(token: str) -> StoredPlan:
    stored = access.stored_plan(token)
    if stored is None:
        raise NoSuchPlan()
    return stored


def _attachment(data: bytes, mimetype: str, filename: str) -> flask.Response:
    response = flask.Response(data, mimetype=mimetype)
    response.headers["Content-Disposition"] = f'attachment; filename="{filename}"'
    response.headers["Cache-Control"] = "private, no-cache"
    return response
