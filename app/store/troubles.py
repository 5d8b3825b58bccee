"""What a database driver complains about, in our words: one plain sentence each, the driver's own in the log."""

from __future__ import annotations

import logging
import sqlite3
from typing import Any

from sqlalchemy import Engine, event

from app.store.problems import Busy, FullDisk, StoreProblem, UnusableStore

log = logging.getLogger(__name__)

SENTENCE = "The server's database could not be read or written, so nothing was changed; its log says why. Try again later."
# The low byte of an SQLite error code is its kind.
_SQLITE = {
    sqlite3.SQLITE_BUSY: Busy,
    sqlite3.SQLITE_LOCKED: Busy,
    sqlite3.SQLITE_FULL: FullDisk,
}
_SQLITE_BROKEN = {
    sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_PERM, sqlite3.SQLITE_NOMEM,
}  # fmt: skip
# PostgreSQL, appendix A: lock not available, deadlock, serialization failure, too many connections; disk full.
_SQLSTATE = {"55P03": Busy, "40P01": Busy, "40001": Busy, "53300": Busy, "53100": FullDisk}


def speak_plainly(engine: Engine) -> None:
    """From now on this engine raises StoreProblem kinds where waiting, making room or repairing is what helps."""
    event.listen(engine, "handle_error", _told)


def _told(context: Any) -> None:
    problem = _problem_of(context.original_exception)
    if problem is not None:
        log.warning("the database said: %s", context.original_exception)
        raise problem from context.original_exception


def _problem_of(original: BaseException) -> StoreProblem | None:
    code = getattr(original, "sqlite_errorcode", None)
    if code is not None:
        kind = _SQLITE.get(code & 0xFF)
        return kind() if kind else UnusableStore(SENTENCE) if code & 0xFF in _SQLITE_BROKEN else None
    kind = _SQLSTATE.get(getattr(original, "sqlstate", None) or "")
    return kind() if kind else None
