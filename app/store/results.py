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
from pathlib import Path
from typing import Any

import diskcache
from diskcache.core import MODE_BINARY, MODE_RAW, UNKNOWN

from app.store.folders import own_folder

log = logging.getLogger(__name__)

# diskcache's own names for value files; anything else in that column was not written by it.
_VALUE_FILE = re.compile(r"[0-9a-f]{2}[\\/][0-9a-f]{2}[\\/][0-9a-f]{28}\.val")
_DIGEST_BYTES = 16
_TROUBLE = (sqlite3.Error, diskcache.Timeout, OSError)


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
    """Bytes by key, shared by all workers of one machine; a damaged or foreign entry is as good as none."""

    def __init__(self, folder: Path, *, size_bytes: int) -> None:
        self._folder = own_folder(folder)
        try:
            self._cache = self._open(size_bytes)
        except _TROUBLE as problem:
            log.warning("the results folder was unreadable (%s) and is started afresh", problem)
            shutil.rmtree(self._folder, ignore_errors=True)
            own_folder(self._folder)
            self._cache = self._open(size_bytes)

    def _open(self, size_bytes: int) -> diskcache.Cache:
        return diskcache.Cache(
            str(self._folder),
            disk=BytesOnlyDisk,
            size_limit=size_bytes,
            eviction_policy="least-recently-stored",  # the one policy whose reads take no write lock
            timeout=20,
        )

    def get(self, key: str) -> bytes | None:
        """The bytes as they were put, or None: never stored, expired, evicted, damaged or refused."""
        try:
            framed = self._cache.get(key)
        except _TROUBLE as problem:
            log.warning("reading %s from the results failed: %s", key, problem)
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
            log.warning("storing %s among the results failed: %s", key, problem)

    def claim(self, key: str, token: bytes, *, expire_s: float) -> bool:
        """Take a key that nobody holds; False when somebody does. Falls open when the cache itself is unusable."""
        try:
            with self._cache.transact():
                if self.get(key) is None:
                    self._cache.delete(key)  # an entry that cannot be read would otherwise be held for ever
                return bool(self._cache.add(key, _digest(token) + token, expire=expire_s))
        except _TROUBLE as problem:
            log.warning("no lock could be taken for %s: %s", key, problem)
            return True

    def hold(self, key: str, token: bytes, *, expire_s: float) -> None:
        """Prolong one's own claim, or take it again after the cache was lost; somebody else's stays theirs."""
        try:
            with self._cache.transact():
                if self.get(key) in (None, token):
                    self._cache.set(key, _digest(token) + token, expire=expire_s)
        except _TROUBLE as problem:
            log.warning("the lock on %s could not be prolonged: %s", key, problem)

    def release(self, key: str, token: bytes) -> None:
        """Give up a claim, but only one's own."""
        if self.get(key) == token:
            self.delete(key)

    def delete(self, key: str) -> None:
        try:
            self._cache.delete(key)
        except _TROUBLE as problem:
            log.warning("dropping %s from the results failed: %s", key, problem)

    def clear(self) -> None:
        """Drop everything; costs time, nothing else."""
        self._cache.clear()

    def close(self) -> None:
        self._cache.close()


def _digest(data: bytes) -> bytes:
    return hashlib.blake2b(data, digest_size=_DIGEST_BYTES).digest()
