"""Brings a database of any earlier schema to the present one, by Alembic, from scripts that ship with the program.

Whoever opens a store comes through here. Of several processes that start at once one migrates while the others wait; the
whole way is one transaction, so that a migration that stops half-way leaves the database as it was.
"""

from __future__ import annotations

import threading
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, insert, inspect, select, update

from app.store import schema
from app.store.problems import UnusableStore

FOLDER = Path(__file__).parent
# Alembic hands the connection to its scripts through a global.
_ONE_AT_A_TIME = threading.Lock()


def is_current(connection: Connection) -> bool:
    """Whether there is nothing to migrate. Raises UnusableStore where a newer program wrote the database."""
    found = _found_version(connection)
    if found > schema.SCHEMA_VERSION:
        raise UnusableStore(
            f"The database was written by a newer countercheck (its schema is {found}, this program knows "
            f"{schema.SCHEMA_VERSION}); update the program."
        )
    head = ScriptDirectory(str(FOLDER)).get_current_head()
    return found == schema.SCHEMA_VERSION and MigrationContext.configure(connection).get_current_revision() == head


def migrate(connection: Connection) -> None:
    """Run what is missing; the caller holds the database against every other writer and commits."""
    if is_current(connection):  # another process was first
        return
    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.attributes["connection"] = connection
    with _ONE_AT_A_TIME:
        command.upgrade(config, "head")
    row = update(schema.schema_row).values(version=schema.SCHEMA_VERSION)
    if connection.execute(row).rowcount == 0:
        connection.execute(insert(schema.schema_row).values(id=1, version=schema.SCHEMA_VERSION))


def _found_version(connection: Connection) -> int:
    """The schema's number as stored; 0 where there is none yet."""
    if not inspect(connection).has_table(schema.schema_row.name):
        return 0
    return int(connection.execute(select(schema.schema_row.c.version)).scalar() or 0)
