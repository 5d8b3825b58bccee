"""Folders that only their owner may read."""

from __future__ import annotations

import os
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
