"""Recordings as they were read (never as they were uploaded), each under the hash of its bytes: written once, never changed.

The hash is of the plain bytes, the file holds them as gzip: another gzip library must not change what a recording is called.
The file's time is when it was last put: an upload waits for its trial, and `sweeping` must see that it does.
"""

from __future__ import annotations

import contextlib
import gzip
import hashlib
import logging
import os
import re
import zlib
from collections.abc import Iterator
from pathlib import Path

from app.store.folders import drop_halves, own_folder, write_whole
from app.store.problems import DamagedBlob, MissingBlob

log = logging.getLogger(__name__)

SUFFIX = ".gz"
# A blob on its way out: under this name nobody finds it, and one that was put again meanwhile can come back.
GOING = ".going-"
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
        """Keep the bytes; when this returns they survive a power cut. Returns their SHA-256 in hex.

        A blob that is there but damaged is written anew. Raises FullDisk when the bytes do not fit; nothing of them is left then.
        """
        sha256 = hashlib.sha256(data).hexdigest()
        path = self._path(sha256)
        try:
            os.utime(path)
            self.get(sha256)
        except (FileNotFoundError, MissingBlob, DamagedBlob):
            path.parent.mkdir(mode=0o700, exist_ok=True)
            write_whole(path, gzip.compress(data, mtime=0))
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

    def names(self) -> Iterator[str]:
        """The hash of every blob."""
        for path in self._folder.glob(f"[0-9a-f][0-9a-f]/*{SUFFIX}"):
            if _NAME.fullmatch(path.name.removesuffix(SUFFIX)):
                yield path.name.removesuffix(SUFFIX)

    def size(self, sha256: str) -> int:
        """Bytes on disk; 0 for one that is not there."""
        try:
            return self._path(sha256).stat().st_size
        except FileNotFoundError:
            return 0

    def drop(self, sha256: str, *, put_before_s: float) -> int:
        """Delete a blob unless it was put at or after this Unix time; bytes freed, 0 where it stays or is not there.

        It is set aside first: a `put` of the same bytes either finds it gone and writes it anew, or was there earlier, and then
        its time says so and the blob comes back.
        """
        path = self._path(sha256)
        aside = path.with_name(GOING + path.name)
        try:
            if path.stat().st_mtime >= put_before_s:
                return 0
            path.replace(aside)
            return self._settle(aside, put_before_s)
        except FileNotFoundError:
            return 0
        except OSError as problem:  # on some systems an open file cannot be renamed
            log.warning("%s stays for now: %s", path.name, problem)
            return 0

    def tidy(self, *, put_before_s: float) -> None:
        """Finish what a killed process left: files half written, and blobs that it had set aside."""
        for folder in (self._folder, *self._folder.glob("[0-9a-f][0-9a-f]")):
            drop_halves(folder)
        for aside in self._folder.glob(f"[0-9a-f][0-9a-f]/{GOING}*"):
            with contextlib.suppress(OSError):  # another process is at it
                self._settle(aside, put_before_s)

    def _settle(self, aside: Path, put_before_s: float) -> int:
        """The end of a blob that was set aside: back to its name when it was put again meanwhile, else deleted."""
        about = aside.stat()
        if about.st_mtime >= put_before_s:
            aside.replace(aside.with_name(aside.name.removeprefix(GOING)))
            return 0
        aside.unlink()
        return about.st_size

    def _path(self, sha256: str) -> Path:
        if not _NAME.fullmatch(sha256):
            raise MissingBlob(f"A recording is named by 64 hexadecimal digits; got {sha256[:80]!r}.")
        return self._folder / sha256[:2] / f"{sha256}{SUFFIX}"
