"""What the keeper of a server does at the command line, beside a running server or without one. Returns exit codes."""

from __future__ import annotations

import re
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from analysis.errors import BadSetup
from analysis.reading.naming import clean_name
from app import links
from app.backup import BackedUp, BadBackup, back_up, put_back
from app.carrying.importing import take_in
from app.carrying.opening import read_trial
from app.comparing import read_bytes
from app.settings import Settings
from app.store import Store
from app.store.copying import database_path
from app.wording import counted

PARTLY = 1  # exit code of a backup that lacks what the disk had lost already
MAX_DAYS = 36_500


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


def backup(settings: Settings, target: Path) -> int:
    """Write everything that is kept to a file or folder of that name."""
    store = _existing(settings)
    try:
        made = back_up(store, settings.data_dir, target)
    finally:
        store.close()
    print(f"{target}: {_told(made)}.")
    if not made.damaged:
        return 0
    print(f"{_lost(made)} damaged on the disk and not in the backup: {', '.join(d[:12] for d in made.damaged)}.", file=sys.stderr)
    return PARTLY


def restore(settings: Settings, source: Path) -> int:
    """Make the data folder from a backup, and the contents of the database where COUNTERCHECK_DATABASE_URL names one."""
    made = put_back(source, settings.data_dir, settings.database_url)
    print(f"{settings.data_dir}: {_told(made)}.")
    if made.damaged:
        print(f"{_lost(made)} lost before the backup was made; upload the files of those trials again.", file=sys.stderr)
    return 0


def purge(settings: Settings, older_than: str, *, dry_run: bool) -> int:
    """Delete trials and dossiers neither made nor opened nor changed for so long, recordings without one, uploads never used."""
    from app.jobs import Jobs

    before = (datetime.now(UTC) - timedelta(days=_days(older_than))).isoformat(timespec="milliseconds")
    store = _existing(settings)
    jobs = Jobs(store)
    try:
        gone = n_blobs = n_bytes = 0
        for one, trial in store.forgotten(before):
            about = f"a trial of {len(trial.recordings)} recordings, last needed {one.last_utc[:10]}"
            if dry_run:
                print(f"would delete {about}")
                continue
            swept = store.purge(one, trial, before)
            if swept is not None:
                jobs.forget(trial)
                print(f"deleted {about}")
                gone, n_blobs, n_bytes = gone + 1, n_blobs + swept.blobs, n_bytes + swept.n_bytes
        dossiers = _purge_dossiers(store, before, dry_run=dry_run)
        if not dry_run:
            rest = store.sweep()
            n_blobs, n_bytes = n_blobs + rest.blobs, n_bytes + rest.n_bytes
            print(f"{gone} trials, {n_blobs} recordings and {dossiers} dossiers deleted, {_size(n_bytes)} freed.")
    finally:
        jobs.close()
        store.close()
    return 0


def _purge_dossiers(store: Store, before: str, *, dry_run: bool) -> int:
    """Dossiers likewise; how many are gone."""
    gone = 0
    for one, versions in store.dossiers.forgotten(before):
        about = f"a dossier of {counted(versions, 'version')}, last needed {one.last_utc[:10]}"
        if dry_run:
            print(f"would delete {about}")
        elif store.dossiers.purge(one, before):
            print(f"deleted {about}")
            gone += 1
    return gone


def _existing(settings: Settings) -> Store:
    """The store of a data folder that is there: a mistyped path must not make a new one."""
    if not settings.database_url and not database_path(settings.data_dir).is_file():
        raise BadBackup(f"There are no trials in {settings.data_dir}; name the data folder with --data-dir.")
    return Store(settings)


def _days(text: str) -> int:
    found = re.fullmatch(r"([0-9]{1,6})d", text)
    if not found or not 1 <= int(found[1]) <= MAX_DAYS:
        raise BadSetup(f"--older-than is a number of days from 1d to {MAX_DAYS}d, such as 365d; got {text[:40]!r}.")
    return int(found[1])


def _told(made: BackedUp) -> str:
    return f"the trials and their {made.recordings} recordings, {_size(made.n_bytes)}"


def _lost(made: BackedUp) -> str:
    return "1 recording was" if len(made.damaged) == 1 else f"{len(made.damaged)} recordings were"


def _size(n_bytes: int) -> str:
    return f"{n_bytes / 1000:.0f} kB" if n_bytes < 1_000_000 else f"{n_bytes / 1_000_000:.1f} MB"
