"""A database as bytes, as it stood at one moment, and whether such bytes are sound; such bytes into an empty database.

The bytes are those of an SQLite file, whichever database they come from and go into: the tables are the same in both.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import URL, Connection, insert, select, text
from sqlalchemy.exc import SQLAlchemyError

from app.store.database import POSTGRES, SQLITE, Database
from app.store.problems import UnusableStore
from app.store.schema import SCHEMA_VERSION, metadata, recordings, schema_row

DATABASE_FILE = "trials.sqlite3"
ROWS_AT_ONCE = 500
# Everything but the schema's own number, each table after those that it refers to. No key is counted up by a database: all are
# made by the program, so there is no sequence to be set afterwards.
TABLES = tuple(table for table in metadata.sorted_tables if table is not schema_row)


def snapshot(database: Database) -> bytes:
    """The whole database of one moment, while others read and write it. Raises UnusableStore where it is damaged."""
    if database.dialect == SQLITE:
        return _sqlite_bytes(database)
    copy = Database("sqlite://")  # in memory, in the present schema
    try:
        with database.reading() as source, copy.writing() as into:
            _copy(source, into)
        return _sqlite_bytes(copy)
    finally:
        copy.close()


@contextmanager
def filled(url: str, data: bytes, aside: Path) -> Iterator[None]:
    """Within, an empty database holds what these bytes do; kept when the block ends well, otherwise it is empty again.

    aside : a folder for the bytes while they are read, brought to the present schema there.

    Raises
    ------
    UnusableStore
        The database cannot be used, is not empty, or cannot hold a value that an SQLite file can.
    """
    path = aside / DATABASE_FILE
    path.write_bytes(data)
    source, target = Database(URL.create("sqlite", database=str(path))), Database(url)
    try:
        with source.reading() as rows, target.writing() as into:
            _refuse_full(into)
            try:
                _copy(rows, into)
            except SQLAlchemyError as problem:
                reason = str(getattr(problem, "orig", None) or problem).strip().splitlines()[0]
                raise UnusableStore(f"The database did not take what the backup holds ({reason}); nothing was kept.") from None
            yield
    finally:
        source.close()
        target.close()


def _refuse_full(connection: Connection) -> None:
    """Raises UnusableStore; from here on nobody else writes before this transaction ends."""
    if connection.dialect.name == POSTGRES:
        connection.execute(text(f"LOCK TABLE {', '.join(table.name for table in TABLES)} IN SHARE ROW EXCLUSIVE MODE"))
    for table in TABLES:
        if connection.execute(select(table).limit(1)).first() is not None:
            raise UnusableStore(
                "The database that COUNTERCHECK_DATABASE_URL names is not empty, and nothing is written over; name a new one."
            )


def _copy(source: Connection, into: Connection) -> None:
    for table in TABLES:
        rows = source.execution_options(yield_per=ROWS_AT_ONCE).execute(select(table)).mappings()
        for part in rows.partitions():
            into.execute(insert(table), [dict(row) for row in part])


def _sqlite_bytes(database: Database) -> bytes:
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
