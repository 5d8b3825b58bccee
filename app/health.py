"""`/healthz`: whether this process can do its work. Anybody may ask; only at home are the single checks told."""

from __future__ import annotations

import logging
import os
import shutil
import tempfile
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import flask

from app import links
from app.services import Services, get_services

log = logging.getLogger(__name__)

# Whoever asks more often is told the same again: a probe must not become a load.
KEPT_S = 2.0


class Health:
    """The checks of one app and what they last said."""

    def __init__(self, checks: Mapping[str, Callable[[], bool]]) -> None:
        self._checks = dict(checks)
        self._lock = threading.Lock()
        self._found: dict[str, bool] = {}
        self._until_s = 0.0

    def look(self) -> dict[str, bool]:
        """Each check and whether it passed; a check that raises has not."""
        with self._lock:
            if time.monotonic() >= self._until_s:
                self._found = {name: _passed(name, check) for name, check in self._checks.items()}
                self._until_s = time.monotonic() + KEPT_S
            return dict(self._found)


def register(server: flask.Flask, services: Services) -> None:
    """Add the route."""
    health = Health(checks_of(services))
    server.add_url_rule(links.HEALTH, "healthz", lambda: _answer(health), methods=["GET"])


def checks_of(services: Services) -> dict[str, Callable[[], bool]]:
    """What must hold for uploads, analyses and pages to work."""
    folder = services.settings.data_dir
    return {
        "database": lambda: services.store.trial("healthz") is None,
        "folder": lambda: _writable(folder),
        "disk": lambda: shutil.disk_usage(folder).free >= services.settings.limits.free_bytes,
        "queue": lambda: not services.jobs.full(),
    }


def _answer(health: Health) -> tuple[flask.Response, int]:
    found = health.look()
    ok = all(found.values())
    told = {"ok": ok} if get_services().settings.public else {"ok": ok, "checks": found}
    response = flask.jsonify(told)
    response.headers["Cache-Control"] = "no-store"
    return response, 200 if ok else 503


def _passed(name: str, check: Callable[[], bool]) -> bool:
    try:
        passed = check()
    except Exception:
        log.warning("the health check of the %s failed", name, exc_info=True)
        return False
    if not passed:
        log.warning("the health check of the %s did not pass", name)
    return passed


def _writable(folder: Path) -> bool:
    handle, name = tempfile.mkstemp(dir=folder / "recordings", prefix=".half-")
    try:
        return os.write(handle, b"healthz") == 7
    finally:
        os.close(handle)
        Path(name).unlink()
