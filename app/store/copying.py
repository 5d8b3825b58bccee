"""A database as bytes, as it stood at one moment, and whether such bytes are sound."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from app.store.database import SQLITE, Database
from app.store.problems import UnusableStore
from app.store.schema import SCHEMA_VERSION, recordings, schema_row

DATABASE_FILE = "trials.sqlite3"


def snapshot(database: Database) -> bytes:
    """The whole database of one moment, while others read and write it.

    Raises UnusableStore where it is not SQLite, which has tools of its own, or is damaged.
    """
    if database.dialect != SQLITE:
        raise UnusableStore(
            "The trials are in PostgreSQL, which has a tool of its own: first pg_dump of that database, then a copy of the "
            "folder recordings in the data folder; put both back to restore."
        )
    copy = sqlite3.connect(":memory:")
    connection = database.engine.raw_connection()
    try:
        connection.driver_connection.backup(copy)
        data = bytearray(copy.serialize())
        data[18:20] = b"\x01\x01"  # no write-ahead log goes with it (SQLite file format, 1.3.4)
        return bytes(data)
    finally:
        connection.close()
        copy.close()


def needed_recordings(data: bytes) -> set[str]:
    """Ids of the recordings that the trials in a database of these bytes need.

    Raises UnusableStore where the bytes are no sound database of ours, or a newer program's.
    """
    connection = sqlite3.connect(":memory:")
    try:
        connection.deserialize(data)
        found = connection.execute("PRAGMA integrity_check").fetchone()[0]
        if found != "ok":
            raise UnusableStore(f"The database is damaged ({found.splitlines()[0]}); take the last sound backup.")
        version = connection.execute(f"SELECT version FROM {schema_row.name}").fetchone()[0]
        if version > SCHEMA_VERSION:
            raise UnusableStore(
                f"The database was written by a newer countercheck (its schema is {version}, this program knows "
                f"{SCHEMA_VERSION}); update the program."
            )
        return {row[0] for row in connection.execute(f"SELECT DISTINCT sha256 FROM {recordings.name}")}
    except (sqlite3.Error, TypeError) as problem:
        raise UnusableStore(f"The database is damaged ({problem}); take the last sound backup.") from None
    finally:
        connection.close()


def database_path(folder: Path) -> Path:
    """Where the trials lie in a data folder."""
    return folder / DATABASE_FILE
