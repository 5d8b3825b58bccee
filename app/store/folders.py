"""Folders that only their owner may read, and files that are there whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import tempfile
import time
from pathlib import Path

from app.store.problems import FullDisk, UnusableStore

# A file that is being written; one that a killed process left behind is never looked at.
HALF = ".half-"
# Younger ones may be another worker's present work; writing the largest file takes seconds.
HALF_WRITTEN_S = 3600.0
NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})


def own_folder(folder: Path) -> Path:
    """Make the folder if need be and close it to others (mode 0700). Raises UnusableStore, naming it."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if hasattr(os, "getuid"):
            if folder.stat().st_uid != os.getuid():
                raise UnusableStore(f"{folder} belongs to another user; choose a folder of your own with --data-dir.")
            folder.chmod(0o700)
    except OSError as problem:
        reason = problem.strerror or str(problem)
        raise UnusableStore(f"{folder} cannot be used ({reason}); choose another folder with --data-dir.") from None
    return folder


def kept_secret(folder: Path) -> str:
    """The secret of this installation, made on first use, readable by its owner only; the same for every worker.

    Raises UnusableStore.
    """
    path = folder / "secret"
    try:
        if not path.exists():
            _make_secret(path)
        return path.read_text()
    except OSError as problem:
        reason = problem.strerror or str(problem)
        raise UnusableStore(f"{path} cannot be used ({reason}); make room or mend its rights and start again.") from None


def _make_secret(path: Path) -> None:
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=HALF)  # mode 0600
    try:
        with os.fdopen(handle, "w") as file:
            file.write(secrets.token_urlsafe(32))
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(FileExistsError):
            os.link(name, path)  # whole or not at all, and only if no other worker was first
    finally:
        Path(name).unlink()


def write_whole(path: Path, data: bytes) -> None:
    """All or nothing, readable by the owner only: a temporary neighbour is written, synced and renamed over the name.

    Raises FullDisk; nothing is left behind then.
    """
    name: str | None = None
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=HALF)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException as problem:
        if name is not None:
            Path(name).unlink(missing_ok=True)
        if isinstance(problem, OSError) and problem.errno in NO_ROOM:
            raise FullDisk() from problem
        raise
    sync_folder(path.parent)
    sync_folder(path.parent.parent)


def sync_folder(folder: Path) -> None:
    """Make a rename last; systems that cannot open a folder for this do it on their own."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def drop_halves(folder: Path) -> None:
    """Delete what a killed process left half written."""
    for path in folder.glob(f"{HALF}*"):
        with contextlib.suppress(OSError):
            if path.stat().st_mtime < time.time() - HALF_WRITTEN_S:
                path.unlink()
