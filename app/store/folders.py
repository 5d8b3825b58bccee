"""Folders that only their owner may read."""

from __future__ import annotations

import os
import secrets
import tempfile
from pathlib import Path

from app.store.problems import UnusableStore


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
    """The secret of this installation, made on first use, readable by its owner only; the same for every worker."""
    path = folder / "secret"
    if not path.exists():
        handle, name = tempfile.mkstemp(dir=folder, prefix=".half-")  # mode 0600
        with os.fdopen(handle, "w") as file:
            file.write(secrets.token_urlsafe(32))
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(name, path)  # whole or not at all, and only if no other worker was first
        except FileExistsError:
            pass
        finally:
            Path(name).unlink()
    return path.read_text()
