"""Every request is counted before it is answered, and its body is given room; on a public server also by its address."""

from __future__ import annotations

import flask
from werkzeug.exceptions import LengthRequired, RequestEntityTooLarge

from app import links
from app.limits_rates import Rates
from app.limits_room import Bodies, Room
from app.limits_shared import Shared
from app.settings import Settings

FOLDER = "counts"
# Routes that are counted by a rule of their own; everything else is a request.
RULES = {"upload": "uploads", "import_trial": "uploads", "own": "owner", "own_plan": "owner", "own_dossier": "owner"}
# Styles, scripts and probes: cheap, many at once, and the same for everybody.
UNCOUNTED = ("/assets/", "/_dash-component-suites/", links.HEALTH)


class Gate:
    """One per app."""

    def __init__(self, settings: Settings, secret: str | bytes) -> None:
        self.shared = Shared(settings.data_dir / FOLDER)
        self.bodies = Bodies(settings.limits.bodies_bytes)
        self.room = Room(settings.data_dir, settings.limits)
        self.counts_bodies = True  # False where the server in front does it while they arrive
        self._rates = Rates(self.shared, settings.limits, secret) if settings.public else None

    def arrive(self) -> None:
        """Count the present request and hold room for its body. Raises TooMany, Crowded, OverQuota, or what werkzeug
        has for a body without length or beyond its limit."""
        request = flask.request
        if request.path.startswith(UNCOUNTED):
            return
        rule = RULES.get(request.endpoint or "", "requests")
        self.count(rule)
        length = request.content_length or 0
        if request.method not in ("GET", "HEAD", "OPTIONS"):
            if request.content_length is None and "chunked" in request.headers.get("Transfer-Encoding", ""):
                raise LengthRequired
            if length > (request.max_content_length or length):
                raise RequestEntityTooLarge
            if rule == "uploads":
                self.count("bytes", max(length, 1))
                self.room.check(length)
            if self.counts_bodies:
                self.bodies.take(length)
                flask.g.body_bytes = length

    def leave(self, _problem: BaseException | None = None) -> None:
        """The present request is over: its body is gone."""
        self.bodies.give_back(flask.g.pop("body_bytes", 0))

    def new_trial(self) -> None:
        """Before a trial is made. Raises TooMany, OverQuota."""
        self.room.check()
        self.count("trials")

    def count(self, rule: str, amount: float = 1.0) -> None:
        """Count against the address that asks; at home, and where nobody asks, nothing is counted."""
        if self._rates is not None and flask.has_request_context():
            self._rates.take(rule, flask.request.remote_addr, amount)

    def close(self) -> None:
        self.shared.close()
