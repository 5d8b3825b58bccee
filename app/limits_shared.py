"""A small table that all workers of one machine share: what was counted, whose turn it is. Nothing durable is kept in it.

SQLite, because it is there and needs no server. The libraries that count requests keep their counts in one process or on a
server of their own (redis, memcached, mongodb); for several workers on one machine the storage would have been ours to write.
"""

from __future__ import annotations

import logging
import os
import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from app.store.folders import own_folder

log = logging.getLogger(__name__)

Got = TypeVar("Got")

NAME = "counts.sqlite3"
# Another worker holds the table for microseconds; who waits longer than this sees a broken disk.
BUSY_S = 2.0
TABLES = """
CREATE TABLE IF NOT EXISTS rate (who TEXT PRIMARY KEY, free_at_s REAL NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS turn (
    key TEXT PRIMARY KEY, asked_s REAL NOT NULL, started_s REAL, alive_s REAL NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS took (ended_s REAL NOT NULL, took_s REAL NOT NULL);
"""


class Shared:
    """The table in a folder; opened when it is first used, once per process."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._connection: sqlite3.Connection | None = None
        self._pid = 0

    def ask(self, act: Callable[[sqlite3.Connection], Got], otherwise: Got) -> Got:
        """What `act` gives, in one transaction; `otherwise` where the table cannot be used: counting must not stop work."""
        with self._lock:
            try:
                connection = self._open()
                connection.execute("BEGIN IMMEDIATE")
                try:
                    return act(connection)
                finally:
                    connection.execute("COMMIT")
            except (sqlite3.Error, OSError) as problem:
                log.warning("the shared counts cannot be used: %s", problem)
                self._drop()
                return otherwise

    def close(self) -> None:
        with self._lock:
            self._drop()

    def _open(self) -> sqlite3.Connection:
        if self._connection is None or self._pid != os.getpid():
            path = own_folder(self._folder) / NAME
            try:
                self._connection = _connected(path)
            except sqlite3.DatabaseError:  # cut short by a power cut, perhaps: counts are no loss
                path.unlink(missing_ok=True)
                self._connection = _connected(path)
            self._pid = os.getpid()
        return self._connection

    def _drop(self) -> None:
        connection, self._connection = self._connection, None
        if connection is not None and self._pid == os.getpid():
            connection.close()


def _connected(path: Path) -> Any:
    connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = OFF")  # what a power cut takes is counted anew
    connection.executescript(TABLES)
    return connection
