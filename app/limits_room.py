"""Room: the bodies that one process holds at once, and what the data folder may come to on its disk."""

from __future__ import annotations

import os
import shutil
import threading
import time
from pathlib import Path

from analysis.errors import CountercheckError
from app.limits import MB, Limits
from app.store import FullDisk

# Looking through a folder of ten thousand files takes some 50 ms; what is uploaded meanwhile is added up.
LOOK_EVERY_S = 30.0


class Crowded(CountercheckError):
    """As much is being uploaded as this process may hold."""


class OverQuota(FullDisk):
    """The data folder may not grow further."""

    def __init__(self, why: str) -> None:
        CountercheckError.__init__(self, f"{why}, so nothing more is taken in; the owner of this server must make room.")


class Bodies:
    """Bytes of requests in the memory of this process."""

    def __init__(self, most_bytes: int) -> None:
        self._most = most_bytes
        self._held = 0
        self._lock = threading.Lock()

    def take(self, n_bytes: int) -> None:
        """Raises Crowded where there is no room for so many more."""
        with self._lock:
            if self._held and self._held + n_bytes > self._most:
                raise Crowded("Many files are being uploaded just now; try again in a minute.")
            self._held += n_bytes

    def give_back(self, n_bytes: int) -> None:
        with self._lock:
            self._held -= n_bytes

    @property
    def held_bytes(self) -> int:
        return self._held


class Room:
    """The data folder against its quota, its disk against the least that must stay free."""

    def __init__(self, folder: Path, limits: Limits) -> None:
        self._folder = folder
        self._limits = limits
        self._lock = threading.Lock()
        self._size = 0
        self._looked_s = float("-inf")

    def check(self, n_bytes: int = 0) -> None:
        """Raises OverQuota where so many bytes more would not fit."""
        if self.free_bytes() - n_bytes < self._limits.free_bytes:
            raise OverQuota("The disk of this server is nearly full")
        most = self._limits.data_bytes
        if most is None:
            return
        with self._lock:
            if time.monotonic() - self._looked_s > LOOK_EVERY_S:
                self._size, self._looked_s = size_of(self._folder), time.monotonic()
            if self._size + n_bytes > most:
                raise OverQuota(f"This server keeps {most // MB} MB at most and has them")
            self._size += n_bytes

    def free_bytes(self) -> int:
        return shutil.disk_usage(self._folder).free


def size_of(folder: Path) -> int:
    """Bytes of all files below a folder; what vanishes meanwhile counts nothing."""
    total = 0
    for where, _, names in os.walk(folder):
        for name in names:
            try:
                total += os.lstat(os.path.join(where, name)).st_size  # noqa: PTH118
            except OSError:
                continue
    return total
