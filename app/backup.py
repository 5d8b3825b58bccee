"""What is kept as one zip or one folder, and back: the database of one moment, and every recording that its trials need.

Members: `backup.json` with the SHA-256 of each other one, `trials.sqlite3`, `recordings/<hash>.gz`. Nothing is ever written over,
and nothing is put back before all of it has been looked at.
"""

from __future__ import annotations

import contextlib
import gzip
import hashlib
import json
import re
import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from analysis.errors import CountercheckError
from app.carrying.export import program_version
from app.store import Store
from app.store.blobs import SUFFIX
from app.store.copying import DATABASE_FILE, filled, needed_recordings
from app.store.folders import HALF, NO_ROOM, own_folder, sync_folder, write_whole

FORMAT, FORMAT_VERSION = "countercheck backup", 1
ABOUT = "backup.json"
_RECORDING = re.compile(r"recordings/([0-9a-f]{64})\.gz")
# A recording that was deleted while it was to be copied: its trial is gone too, so the database is copied again.
ATTEMPTS = 5


class BadBackup(CountercheckError):
    """A backup that cannot be made there, or cannot be put back."""


@dataclass(frozen=True, kw_only=True)
class BackedUp:
    """What a backup holds; `damaged` are the ids of recordings that the disk no longer gives back as they were."""

    recordings: int
    n_bytes: int
    damaged: tuple[str, ...] = ()


def back_up(store: Store, data_dir: Path, target: Path) -> BackedUp:
    """Write a backup while the server runs; a name ending in .zip gives one file, any other a folder.

    Raises
    ------
    BadBackup
        Something of that name is there already, or it cannot be written; nothing is left behind.
    UnusableStore
        The database is damaged.
    """
    if target.exists():
        raise BadBackup(f"{target} is there already and is not written over; give another name.")
    for _ in range(ATTEMPTS):
        database = store.snapshot()
        needed = needed_recordings(database)
        with contextlib.suppress(FileNotFoundError):
            return _written(target, database, {one: _blob(data_dir, one) for one in sorted(needed)})
    raise BadBackup("Recordings were deleted again and again while they were copied; try again when the server is quiet.")


def put_back(source: Path, data_dir: Path, database_url: str | None = None) -> BackedUp:
    """Make a data folder from a backup; the folder must not be there yet, or be empty.

    database_url : of an empty database that is to hold what is otherwise a file in the folder; the backup may come from either.

    Raises BadBackup, naming the member that is wrong, or UnusableStore; folder and database are then as they were.
    """
    if data_dir.exists() and (not data_dir.is_dir() or any(data_dir.iterdir())):
        raise BadBackup(f"{data_dir} is not empty, and nothing is written over; choose another folder with --data-dir.")
    with _opened(source) as (names, read):
        about = _about(read, source)
        damaged = tuple(about.get("damaged", ()))
        _check_members(about, names, read, source, damaged)
        with _no_room(data_dir):
            data_dir.parent.mkdir(parents=True, exist_ok=True)
            half = Path(tempfile.mkdtemp(dir=data_dir.parent, prefix=HALF))
            moved = False
            try:
                files = [name for name in about["members"] if name != DATABASE_FILE or not database_url]
                total = sum(_put(half, name, read(name)) for name in files)
                with _database(database_url, read, data_dir.parent):
                    if data_dir.exists():
                        data_dir.rmdir()
                    half.replace(data_dir)
                    moved = True
                    sync_folder(data_dir.parent)
            except BaseException:
                shutil.rmtree(data_dir if moved else half, ignore_errors=True)
                raise
    return BackedUp(recordings=len(about["members"]) - 1, n_bytes=total, damaged=damaged)


@contextmanager
def _database(url: str | None, read: Callable[[str], bytes], near: Path) -> Iterator[None]:
    """Within, the database of this address holds the backup's, for good when the block ends well; without one, nothing."""
    if url is None:
        yield
        return
    with tempfile.TemporaryDirectory(dir=near, prefix=HALF) as aside, filled(url, read(DATABASE_FILE), Path(aside)):
        yield


def _blob(data_dir: Path, recording_id: str) -> Path:
    return data_dir / "recordings" / recording_id[:2] / f"{recording_id}{SUFFIX}"


def _written(target: Path, database: bytes, blobs: dict[str, Path]) -> BackedUp:
    """Raises FileNotFoundError where a recording has gone meanwhile."""
    damaged: list[str] = []
    sums: dict[str, str] = {}
    total = 0
    with _no_room(target), _whole(target) as add:
        for name, data in _members(database, blobs, damaged):
            add(name, data)
            sums[name] = hashlib.sha256(data).hexdigest()
            total += len(data)
        about = {"format": FORMAT, "format_version": FORMAT_VERSION, "program_version": program_version(),
                 "made_utc": datetime.now(UTC).isoformat(timespec="seconds"), "damaged": damaged, "members": sums}  # fmt: skip
        add(ABOUT, json.dumps(about, indent=1).encode())
    return BackedUp(recordings=len(sums) - 1, n_bytes=total, damaged=tuple(damaged))


def _members(database: bytes, blobs: dict[str, Path], damaged: list[str]) -> Iterator[tuple[str, bytes]]:
    yield DATABASE_FILE, database
    for recording_id, path in blobs.items():
        data = path.read_bytes()
        if _is_sound(data, recording_id):
            yield f"recordings/{recording_id}{SUFFIX}", data
        else:
            damaged.append(recording_id)


def _is_sound(data: bytes, recording_id: str) -> bool:
    try:
        return hashlib.sha256(gzip.decompress(data)).hexdigest() == recording_id
    except (OSError, EOFError, zlib.error):
        return False


@contextmanager
def _whole(target: Path) -> Iterator[Callable[[str, bytes], Any]]:
    """Takes members; at the end the backup is there under its name, after a fault nothing is."""
    half = Path(tempfile.mkdtemp(dir=target.absolute().parent, prefix=HALF))  # mode 0700: the database holds addresses
    try:
        if target.suffix.lower() == ".zip":
            with zipfile.ZipFile(half / "backup.zip", "w") as archive:
                (half / "backup.zip").chmod(0o600)
                yield archive.writestr
            (half / "backup.zip").rename(target)
        else:
            yield lambda name, data: _put_plain(half / name, data)
            half.rename(target)
        sync_folder(target.absolute().parent)
    finally:
        shutil.rmtree(half, ignore_errors=True)


def _put_plain(path: Path, data: bytes) -> None:
    path.parent.mkdir(mode=0o700, exist_ok=True)
    write_whole(path, data)


@contextmanager
def _no_room(target: Path) -> Iterator[None]:
    try:
        yield
    except FileNotFoundError:
        if target.absolute().parent.is_dir():
            raise
        raise BadBackup(f"{target.absolute().parent} does not exist; make that folder first.") from None
    except OSError as problem:
        why = "there is no room left" if problem.errno in NO_ROOM else problem.strerror or problem
        raise BadBackup(f"{target} could not be written ({why}), and nothing of it is left; choose another place.") from None


@contextmanager
def _opened(source: Path) -> Iterator[tuple[set[str], Callable[[str], bytes]]]:
    """The names in a backup and how to read one of them."""
    if source.is_dir():
        names = {path.relative_to(source).as_posix() for path in source.rglob("*") if path.is_file()}
        yield names, lambda name: (source / name).read_bytes()
        return
    try:
        with zipfile.ZipFile(source) as archive:
            yield set(archive.namelist()), archive.read
    except FileNotFoundError:
        raise BadBackup(f"{source} does not exist; check the path.") from None
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError):
        raise BadBackup(f"{source} is damaged or no backup; take another one.") from None


def _about(read: Callable[[str], bytes], source: Path) -> dict[str, Any]:
    try:
        about = json.loads(read(ABOUT))
        if about["format"] != FORMAT or not isinstance(about["members"], dict) or DATABASE_FILE not in about["members"]:
            raise ValueError
        found = int(about["format_version"])
    except (KeyError, ValueError, TypeError, FileNotFoundError):
        raise BadBackup(f"{source} is not a backup that countercheck wrote; give its file or folder.") from None
    if found > FORMAT_VERSION:
        raise BadBackup(
            f"{source} was written by a newer countercheck (its format is {found}, this program knows {FORMAT_VERSION}); "
            "update the program."
        )
    return about


def _check_members(
    about: dict[str, Any], names: set[str], read: Callable[[str], bytes], source: Path, damaged: tuple[str, ...]
) -> None:
    """Every checksum, every recording against its name, the database against itself and against the recordings."""
    here = set()
    for name, sha256 in about["members"].items():
        recording = _RECORDING.fullmatch(name)
        if name != DATABASE_FILE and not recording:
            raise BadBackup(f"{source} holds {name[:80]!r}, which is no part of a backup; take another one.")
        if name not in names:
            raise BadBackup(f"{source} lacks {name}; take another backup.")
        data = read(name)
        if hashlib.sha256(data).hexdigest() != sha256 or (recording and not _is_sound(data, recording[1])):
            raise BadBackup(f"{source}: {name} is not as it was written (its checksum differs); take another backup.")
        if recording:
            here.add(recording[1])
    missing = needed_recordings(read(DATABASE_FILE)) - here - set(damaged)
    if missing:
        raise BadBackup(f"{source} lacks {len(missing)} recordings that its trials need; take another backup.")


def _put(folder: Path, name: str, data: bytes) -> int:
    recording = _RECORDING.fullmatch(name)
    path = _blob(folder, recording[1]) if recording else folder / name
    if recording:
        own_folder(folder / "recordings")
        path.parent.mkdir(mode=0o700, exist_ok=True)
    write_whole(path, data)
    return len(data)
