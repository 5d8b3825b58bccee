"""One line of JSON on stderr per request and per event of a public server, without anything private.

An address is cut to its network (/24, IPv6 /48), a path is told by its route and not by what stands in it, a traceback by its
places and not by its message, and whatever could be an id, a key or a token is cut short wherever it appears.
"""

from __future__ import annotations

import ipaddress
import json
import logging
import os
import re
import secrets
import sys
import time
import traceback
from datetime import UTC, datetime
from typing import Any

import flask

log = logging.getLogger("countercheck.requests")

REQUEST_ID_BYTES = 8
# Ids and keys are 22 characters or more of this alphabet, hashes are 64; four of them tell two apart and open nothing.
SECRET_LIKE = re.compile(r"[A-Za-z0-9_-]{22,}")
KEPT_CHARS = 4
NETWORK_BITS = {4: 24, 6: 48}
# What a call of the log may add to its line.
EXTRAS = ("request", "method", "route", "status", "ms", "bytes_in", "bytes_out", "from", "pid")


class JsonLine(logging.Formatter):
    """A record as one line of JSON; see the module for what is left out."""

    def format(self, record: logging.LogRecord) -> str:
        when = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        line = {"utc": when, "level": record.levelname.lower(), "by": record.name, "said": without_secrets(record.getMessage())}
        line |= {name: getattr(record, name) for name in EXTRAS if hasattr(record, name)}
        if flask.has_request_context() and "request" not in line:
            line["request"] = flask.g.get("request_id")
        if record.exc_info and record.exc_info[0]:
            line["fault"] = record.exc_info[0].__name__
            line["at"] = places(record.exc_info[2])
        return json.dumps(line, ensure_ascii=False)


def without_secrets(text: str) -> str:
    """The text with everything that could be an id, a key or a token cut short."""
    return SECRET_LIKE.sub(lambda found: found[0][:KEPT_CHARS] + "…", text)


def places(trace: Any) -> list[str]:
    """Where a fault went through, innermost last; not its message, which may quote a file."""
    return [f"{os.path.basename(step.filename)}:{step.lineno} {step.name}" for step in traceback.extract_tb(trace)]  # noqa: PTH119


def network_of(address: str | None) -> str:
    """The network an address belongs to: enough to see where a burst comes from, too little for a person."""
    try:
        found = ipaddress.ip_address(address or "")
    except ValueError:
        return "unknown"
    found = getattr(found, "ipv4_mapped", None) or found
    return str(ipaddress.ip_network((found, NETWORK_BITS[found.version]), strict=False))


def to_stderr() -> None:
    """All loggers of this process write JSON lines from now on; called once per process of a public server."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLine())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.INFO)
    logging.getLogger("waitress").setLevel(logging.WARNING)


def register(server: flask.Flask) -> None:
    """A number for every request, told in X-Request-Id, and one line when it is answered; call before other checks are added."""
    server.before_request(_begin)
    server.after_request(_end)


def _begin() -> None:
    flask.g.request_id = secrets.token_hex(REQUEST_ID_BYTES)
    flask.g.began_s = time.monotonic()


def _end(response: flask.Response) -> flask.Response:
    request, number = flask.request, flask.g.get("request_id", "")
    response.headers["X-Request-Id"] = number
    about = {
        "request": number,
        "method": request.method,
        "route": request.url_rule.rule if request.url_rule else "none",
        "status": response.status_code,
        "ms": round(1000 * (time.monotonic() - flask.g.get("began_s", time.monotonic())), 1),
        "bytes_in": request.content_length or 0,
        "bytes_out": response.calculate_content_length() or 0,
        "from": network_of(request.remote_addr),
        "pid": os.getpid(),
    }
    log.info("answered", extra=about)
    return response
