"""What the keeper of a server does at the command line, beside a running server or without one."""

from __future__ import annotations

from pathlib import Path

from analysis.reading.naming import clean_name
from app import links
from app.carrying.importing import read_trial, take_in
from app.comparing import read_bytes
from app.settings import Settings
from app.store import Store


def import_file(settings: Settings, path: Path) -> int:
    """Take in a trial and print its two addresses; the owner link is shown this once."""
    carried = read_trial(read_bytes(path), name=clean_name(path.name), max_files=settings.max_files)
    store = Store(settings)
    try:
        new = take_in(store, carried)
    finally:
        store.close()
    base = settings.base_url or f"http://{settings.host}:{settings.port}"
    print(f"Taken in from {path.name}. Once the server runs:")
    print(f"owner link (keep it, it is not shown again): {links.absolute(base, links.owner_path(new.trial_id, new.owner_key))}")
    print(f"reader link: {links.absolute(base, links.trial_path(new.trial_id))}")
    return 0
