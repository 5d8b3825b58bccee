"""Recordings as they were read (never as they were uploaded), each under the hash of its bytes: written once, never changed.

The hash is of the plain bytes, the file holds them as gzip: another gzip library must not change what a recording is called.
"""

from __future__ import annotations

import gzip
import hashlib
import logging
import os
import re
import tempfile
import zlib
from pathlib import Path

from app.store.folders import own_folder
from app.store.problems import DamagedBlob, MissingBlob

log = logging.getLogger(__name__)

SUFFIX = ".gz"
# Before anything was released, uploads were kept whole, with positions and names in them, in files without a suffix.
ADVICE = "such files are not read any more: make a new trial of the recordings, and delete them here, they hold positions."
_NAME = re.compile(r"[0-9a-f]{64}")


class Blobs:
    """A folder of files named by their content's SHA-256; the first two digits are a folder of their own."""

    def __init__(self, folder: Path) -> None:
        self._folder = own_folder(folder)
        if any(path.suffix == "" for path in self._folder.glob("[0-9a-f][0-9a-f]/" + 64 * "[0-9a-f]")):
            log.warning("%s holds files as they were uploaded, kept by an early version; %s", self._folder, ADVICE)

    def put(self, data: bytes) -> str:
        """Keep the bytes; when this returns they survive a power cut. Returns their SHA-256 in hex."""
        sha256 = hashlib.sha256(data).hexdigest()
        path = self._path(sha256)
        if not path.exists():
            path.parent.mkdir(mode=0o700, exist_ok=True)
            _write_whole(path, gzip.compress(data, mtime=0))
            _sync_folder(self._folder)
        return sha256

    def get(self, sha256: str) -> bytes:
        """The bytes under this hash. Raises MissingBlob, or DamagedBlob when the disk gives back other bytes."""
        try:
            data = gzip.decompress(self._path(sha256).read_bytes())
        except FileNotFoundError:
            if self._path(sha256).with_suffix("").is_file():
                raise MissingBlob(f"It was kept by an early version as the uploaded file itself; {ADVICE}") from None
            raise MissingBlob(f"No recording is stored under {sha256[:12]}...; upload the file again.") from None
        except (OSError, EOFError, zlib.error):
            data = b""
        if hashlib.sha256(data).hexdigest() != sha256:
            raise DamagedBlob(f"The stored recording {sha256[:12]}... was damaged on disk; upload the file again.")
        return data

    def __contains__(self, sha256: object) -> bool:
        return isinstance(sha256, str) and _NAME.fullmatch(sha256) is not None and self._path(sha256).is_file()

    def _path(self, sha256: str) -> Path:
        if not _NAME.fullmatch(sha256):
            raise MissingBlob(f"A recording is named by 64 hexadecimal digits; got {sha256[:80]!r}.")
        return self._folder / sha256[:2] / f"{sha256}{SUFFIX}"


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
