"""waitress takes a whole request in before the app sees it; here its bodies are counted while they arrive.

Without this, a hundred connections could each hold the largest body in memory, and the app would not know.
"""

from __future__ import annotations

import json
import weakref
from typing import Any

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.utilities import Error

from app.limits_room import Bodies, Crowded

RETRY_AFTER_S = 30


class CountedParser(HTTPRequestParser):
    """Takes room for a body when its length is told, and gives it back when the request is done or its connection is lost."""

    bodies: Bodies  # set by `counted_channel`

    def __init__(self, adj: Any) -> None:
        super().__init__(adj)
        self._room = _Held(self.bodies)
        self._lost = weakref.finalize(self, self._room.give_back)

    def received(self, data: bytes) -> int:
        """As waitress has it; where there is no room, the request is answered by a sentence and its connection closed."""
        consumed = super().received(data)
        if self.error is None and self.headers_finished:
            try:
                self._room.reach(max(self.content_length, self.body_bytes_received))
            except Crowded as problem:
                self.error = _NoRoom(str(problem))
                self.completed = True
        return consumed

    def close(self) -> None:
        super().close()
        self._lost()


def counted_channel(bodies: Bodies) -> type[HTTPChannel]:
    """A channel class whose requests share the room of `bodies`."""
    parser = type("Parser", (CountedParser,), {"bodies": bodies})
    return type("Channel", (HTTPChannel,), {"parser_class": parser})


class _Held:
    """What one request holds."""

    def __init__(self, bodies: Bodies) -> None:
        self._bodies = bodies
        self._held = 0

    def reach(self, n_bytes: int) -> None:
        if n_bytes > self._held:
            self._bodies.take(n_bytes - self._held)
            self._held = n_bytes

    def give_back(self) -> None:
        self._bodies.give_back(self._held)
        self._held = 0


class _NoRoom(Error):
    code = 503
    reason = "Service Unavailable"

    def to_response(self, ident: str | None = None) -> tuple[str, list[tuple[str, str]], bytes]:
        body = json.dumps({"error": self.body}).encode()
        headers = [
            ("Content-Type", "application/json"), ("Retry-After", str(RETRY_AFTER_S)), ("Connection", "close"),
            ("X-Content-Type-Options", "nosniff"),
        ]  # fmt: skip
        return f"{self.code} {self.reason}", headers, body
