"""Results that may vanish at any time: bytes under a key, in a diskcache of bounded size. Nothing durable is kept here.

diskcache unpickles what it finds in its folder (CVE-2025-69872). Here nothing is pickled on the way in, and on the way
out an entry that is not plain bytes, or names a file outside its own scheme, is refused and counts as missing.
"""

from __future__ import annotations

import hashlib
import logging
import re
import shutil
import sqlite3
import threading
from pathlib import Path
from typing import Any

import diskcache
from diskcache.core import MODE_BINARY, MODE_RAW, UNKNOWN

from app.store.folders import own_folder
from app.store.problems import UnusableStore

log = logging.getLogger(__name__)

# diskcache's own names for value files; anything else in that column was not written by it.
_VALUE_FILE = re.compile(r"[0-9a-f]{2}[\\/][0-9a-f]{2}[\\/][0-9a-f]{28}\.val")
_DIGEST_BYTES = 16
_TROUBLE = (sqlite3.Error, diskcache.Timeout, OSError)
_NO_TABLE = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}


class RefusedEntry(OSError):
    """An entry that is not plain bytes; an OSError because diskcache takes that for "not there"."""


class BytesOnlyDisk(diskcache.Disk):
    """Keys are text, values are bytes; whatever else is asked or found is refused, nothing is ever unpickled."""

    def put(self, key: Any) -> tuple[Any, bool]:
        if type(key) is not str:
            raise RefusedEntry(f"A cache key must be text; got {type(key).__name__}.")
        return super().put(key)

    def get(self, key: Any, raw: bool) -> Any:
        if not raw or type(key) is not str:
            raise RefusedEntry("A cache key in the table is not text.")
        return key

    def store(self, value: Any, read: bool, key: Any = UNKNOWN) -> tuple[int, int, str | None, Any]:
        if type(value) is not bytes or read:
            raise RefusedEntry(f"A cache value must be bytes; got {type(value).__name__}.")
        return super().store(value, read, key=key)

    def fetch(self, mode: int, filename: str | None, value: Any, read: bool) -> bytes:
        raw = mode == MODE_RAW and filename is None and type(value) is bytes
        filed = mode == MODE_BINARY and value is None and isinstance(filename, str) and _VALUE_FILE.fullmatch(filename)
        if read or not (raw or filed):
            raise RefusedEntry(f"A cache entry of mode {mode!r} is not plain bytes.")
        return super().fetch(mode, filename, value, read)

    def remove(self, file_path: str) -> None:
        if isinstance(file_path, str) and _VALUE_FILE.fullmatch(file_path):
            super().remove(file_path)


class Results:
    """Bytes by key, shared by all workers of one machine; a damaged or foreign entry is as good as none.

    The folder may be deleted or damaged at any moment, even under a running server: it is then started afresh.
    """

    def __init__(self, folder: Path, *, size_bytes: int) -> None:
        self._folder = folder
        self._size_bytes = size_bytes
        self._opening = threading.Lock()
        self._opened, self._table = self._open()

    def _open(self) -> tuple[diskcache.Cache, tuple[int, int] | None]:
        """The cache in its folder, and which file its table is. Raises UnusableStore."""
        own_folder(self._folder)
        if self._table_now() is None:
            for strays in self._folder.glob("[0-9a-f][0-9a-f]"):  # values that no table knows would never be dropped
                shutil.rmtree(strays, ignore_errors=True)
        try:
            return self._made()
        except _TROUBLE as problem:
            log.warning("the results folder was unreadable (%s) and is started afresh", problem)
        shutil.rmtree(self._folder, ignore_errors=True)
        own_folder(self._folder)
        try:
            return self._made()
        except _TROUBLE as problem:
            raise UnusableStore(
                f"{self._folder} cannot hold results ({problem}); make room, or choose another with COUNTERCHECK_CACHE_DIR."
            ) from None

    def _made(self) -> tuple[diskcache.Cache, tuple[int, int] | None]:
        cache = diskcache.Cache(
            str(self._folder),
            disk=BytesOnlyDisk,
            size_limit=self._size_bytes,
            eviction_policy="least-recently-stored",  # the one policy whose reads take no write lock
            timeout=20,
            sqlite_mmap_size=0,  # a table cut short under a mapping would end the process
        )
        return cache, self._table_now()

    def _table_now(self) -> tuple[int, int] | None:
        try:
            about = (self._folder / diskcache.core.DBNAME).stat()
        except OSError:
            return None
        return about.st_dev, about.st_ino

    @property
    def _cache(self) -> diskcache.Cache:
        """The cache; opened anew where somebody has deleted or replaced its folder. Raises one of _TROUBLE."""
        if self._table_now() != self._table:
            with self._opening:
                if self._table_now() != self._table:
                    log.warning("the results folder was replaced under the running server and is opened anew")
                    self._reopen()
        return self._opened

    def _reopen(self) -> None:
        self._opened.close()
        try:
            self._opened, self._table = self._open()
        except UnusableStore as problem:
            raise OSError(str(problem)) from None

    def _trouble(self, doing: str, key: str, problem: Exception) -> None:
        """Say it in the log; a table that is no table any more is thrown away, so that the next use starts afresh."""
        log.warning("%s %s failed: %s", doing, key, problem)
        if (getattr(problem, "sqlite_errorcode", 0) or 0) & 0xFF in _NO_TABLE:
            with self._opening:
                shutil.rmtree(self._folder, ignore_errors=True)

    def get(self, key: str) -> bytes | None:
        """The bytes as they were put, or None: never stored, expired, evicted, damaged or refused."""
        try:
            framed = self._cache.get(key)
        except _TROUBLE as problem:
            self._trouble("reading the result", key, problem)
            return None
        if framed is None:
            return None
        digest, data = framed[:_DIGEST_BYTES], framed[_DIGEST_BYTES:]
        if _digest(data) != digest:
            log.warning("the stored result %s was damaged and is dropped", key)
            self.delete(key)
            return None
        return data

    def put(self, key: str, data: bytes, *, expire_s: float | None = None) -> None:
        """Keep the bytes for a while; a full disk or a locked table costs a log line, not the answer."""
        try:
            self._cache.set(key, _digest(data) + data, expire=expire_s)
        except _TROUBLE as problem:
            self._trouble("storing the result", key, problem)

    def claim(self, key: str, token: bytes, *, expire_s: float) -> bool:
        """Take a key that nobody holds; False when somebody does. Falls open when the cache itself is unusable."""
        try:
            with self._cache.transact():
                if self.get(key) is None:
                    self._cache.delete(key)  # an entry that cannot be read would otherwise be held for ever
                return bool(self._cache.add(key, _digest(token) + token, expire=expire_s))
        except _TROUBLE as problem:
            self._trouble("taking the lock", key, problem)
            return True

    def hold(self, key: str, token: bytes, *, expire_s: float) -> None:
        """Prolong one's own claim, or take it again after the cache was lost; somebody else's stays theirs."""
        try:
            with self._cache.transact():
                if self.get(key) in (None, token):
                    self._cache.set(key, _digest(token) + token, expire=expire_s)
        except _TROUBLE as problem:
            self._trouble("prolonging the lock", key, problem)

    def release(self, key: str, token: bytes) -> None:
        """Give up a claim, but only one's own."""
        if self.get(key) == token:
            self.delete(key)

    def delete(self, key: str) -> None:
        try:
            self._cache.delete(key)
        except _TROUBLE as problem:
            self._trouble("dropping the result", key, problem)

    def clear(self) -> None:
        """Drop everything; costs time, nothing else."""
        self._cache.clear()

    def close(self) -> None:
        self._opened.close()


def _digest(data: bytes) -> bytes:
    return hashlib.blake2b(data, digest_size=_DIGEST_BYTES).digest()
