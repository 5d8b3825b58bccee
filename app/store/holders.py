"""What links belong to: a trial, or a dossier. One mechanism serves both; here stands in which tables, and in which words."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Column, ColumnElement, FromClause, Table

from app.store import schema as db
from app.store.problems import NoSuchDossier, NoSuchTrial, StoreProblem


@dataclass(frozen=True, kw_only=True, eq=False)
class Holder:
    """Its tables: of itself, of its reader links, of its owner keys; `missing` is raised where an address leads to none.

    changes : columns that say when something of it was written.
    """

    noun: str
    table: Table
    readers: Table
    owners: Table
    missing: type[StoreProblem]
    changes: tuple[Column, ...]

    def id_in(self, table: FromClause) -> ColumnElement[str]:
        """The column of one of its tables that holds its name in the database."""
        return table.c[f"{self.noun}_id"]

    @property
    def id(self) -> ColumnElement[str]:
        return self.id_in(self.table)


TRIALS = Holder(
    noun="trial", table=db.trials, readers=db.reader_links, owners=db.owner_keys, missing=NoSuchTrial,
    changes=(db.setups.c.created_utc, db.notes.c.changed_utc),
)  # fmt: skip
DOSSIERS = Holder(
    noun="dossier", table=db.dossiers, readers=db.dossier_links, owners=db.dossier_keys, missing=NoSuchDossier,
    changes=(db.dossier_versions.c.created_utc,),
)  # fmt: skip
