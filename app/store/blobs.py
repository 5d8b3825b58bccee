"""Recordings as they were uploaded, each under the hash of its bytes: written once, never changed."""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
from pathlib import Path

from app.store.folders import own_folder
from app.store.problems import DamagedBlob, MissingBlob

_NAME = re.compile(r"[0-9a-f]{64}")


class Blobs:
    """A folder of files named by their SHA-256; the first two digits are a folder of their own."""

    def __init__(self, folder: Path) -> None:
        self._folder = own_folder(folder)

    def put(self, data: bytes) -> str:
        """Keep the bytes; when this returns they survive a power cut. Returns their SHA-256 in hex."""
        sha256 = hashlib.sha256(data).hexdigest()
        path = self._path(sha256)
        if not path.exists():
            path.parent.mkdir(mode=0o700, exist_ok=True)
            _write_whole(path, data)
            _sync_folder(self._folder)
        return sha256

    def get(self, sha256: str) -> bytes:
        """The bytes under this hash. Raises MissingBlob, or DamagedBlob when the disk gives back other bytes."""
        try:
            data = self._path(sha256).read_bytes()
        except FileNotFoundError:
            raise MissingBlob(f"No recording is stored under {sha256[:12]}...; upload the file again.") from None
        if hashlib.sha256(data).hexdigest() != sha256:
            raise DamagedBlob(f"The stored recording {sha256[:12]}... was damaged on disk; upload the file again.")
        return data

    def __contains__(self, sha256: object) -> bool:
        return isinstance(sha256, str) and _NAME.fullmatch(sha256) is not None and self._path(sha256).is_file()

    def _path(self, sha256: str) -> Path:
        if not _NAME.fullmatch(sha256):
            raise MissingBlob(f"A recording is named by 64 hexadecimal digits; got {sha256[:80]!r}.")
        return self._folder / sha256[:2] / sha256


def _write_whole(path: Path, data: bytes) -> None:
    """All or nothing: a temporary neighbour is written, synced and renamed over the name."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".half-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    """Make a rename last; systems that cannot open a folder for this do it on their own."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
