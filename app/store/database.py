"""The durable tables: trials, their recordings, every version of their set-up, hashes of owner keys."""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    URL,
    Column,
    Engine,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    create_engine,
    event,
    insert,
    select,
)
from sqlalchemy.exc import IntegrityError, SQLAlchemyError
from sqlalchemy.schema import CreateTable

from app.store.problems import UnusableStore

# Rises with every change of the tables; an older program refuses a newer database instead of damaging it.
SCHEMA_VERSION = 1

metadata = MetaData()

schema_row = Table(
    "schema_version",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("version", Integer, nullable=False),
)
trials = Table(
    "trial",
    metadata,
    Column("trial_id", String(64), primary_key=True),
    Column("created_utc", String(32), nullable=False),
    Column("setup_version", Integer, nullable=False),
)
recordings = Table(
    "trial_recording",
    metadata,
    Column("trial_id", ForeignKey("trial.trial_id", ondelete="CASCADE"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("sha256", String(64), nullable=False, index=True),  # of what is kept, not of the file that was uploaded
    Column("name", String(200), nullable=False),
)
setups = Table(
    "trial_setup",
    metadata,
    Column("trial_id", ForeignKey("trial.trial_id", ondelete="CASCADE"), primary_key=True),
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("created_utc", String(32), nullable=False),
    Column("setup_json", Text, nullable=False),
)
# A trial is listed here when its deltas stay hidden until its blocks are frozen.
blocks_first = Table(
    "trial_blocks_first",
    metadata,
    Column("trial_id", ForeignKey("trial.trial_id", ondelete="CASCADE"), primary_key=True),
    Column("created_utc", String(32), nullable=False),
)
owner_keys = Table(
    "owner_key",
    metadata,
    Column("trial_id", ForeignKey("trial.trial_id", ondelete="CASCADE"), primary_key=True),
    Column("key_sha256", String(64), primary_key=True),
    Column("created_utc", String(32), nullable=False),
)


def open_database(url: str | URL) -> Engine:
    """Connect, make missing tables, check the schema's version.

    Raises
    ------
    UnusableStore
        Not a database, not writable, or written by a newer program.
    """
    try:
        engine = create_engine(url, pool_pre_ping=not str(url).startswith("sqlite"))
        if engine.dialect.name == "sqlite":
            event.listen(engine, "connect", _sqlite_manners)
        with engine.begin() as connection:
            for table in metadata.sorted_tables:
                connection.execute(CreateTable(table, if_not_exists=True))
                for index in table.indexes:
                    index.create(connection, checkfirst=True)
        found = _stamp(engine)
    except (SQLAlchemyError, ImportError) as problem:
        reason = str(getattr(problem, "orig", None) or problem).splitlines()[0]
        raise UnusableStore(f"The database cannot be used ({reason}); check the data folder and try again.") from None
    if found > SCHEMA_VERSION:
        raise UnusableStore(
            f"The database was written by a newer countercheck (its schema is {found}, this program knows "
            f"{SCHEMA_VERSION}); update the program."
        )
    return engine


def _stamp(engine: Engine) -> int:
    """The schema's version as stored; a fresh database is given the present one."""
    try:
        with engine.begin() as connection:
            found = connection.execute(select(schema_row.c.version)).scalar()
            if found is None:
                connection.execute(insert(schema_row).values(id=1, version=SCHEMA_VERSION))
                return SCHEMA_VERSION
            return int(found)
    except IntegrityError:  # another worker was first
        with engine.begin() as connection:
            return int(connection.execute(select(schema_row.c.version)).scalar_one())


def _sqlite_manners(connection: Any, _record: Any) -> None:
    cursor = connection.cursor()
    cursor.execute("PRAGMA busy_timeout = 20000")  # ms; two workers writing at once wait for each other
    cursor.execute("PRAGMA journal_mode = WAL")  # readers and a writer do not block each other
    cursor.execute("PRAGMA synchronous = FULL")  # what was acknowledged survives a power cut
    cursor.execute("PRAGMA foreign_keys = ON")  # SQLite leaves them off
    cursor.close()
