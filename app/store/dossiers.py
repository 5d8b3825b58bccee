"""Dossiers as kept: every version of what their owners wrote, under links and keys of the one kind there is (`links`)."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, Row, delete, func, insert, select, update

from analysis.dossier.document import Dossier, dossier_from_dict
from app.store import schema as db
from app.store.addresses import addresses_of, new_address, new_key, now_utc, resolve, resolved
from app.store.database import Database
from app.store.forgotten import Forgotten, Openings, delete_forgotten, forgotten_since
from app.store.holders import DOSSIERS
from app.store.links import Links, add_key
from app.store.problems import ChangedMeanwhile

CHANGED = "Somebody else changed this dossier meanwhile; reload the page and try again."


@dataclass(frozen=True, kw_only=True)
class NewDossier:
    """Told once: the key is not kept in the clear anywhere. `address` is the private one, of readers there is none yet."""

    address: str
    owner_key: str


@dataclass(frozen=True, kw_only=True)
class StoredDossier:
    """A dossier as kept. `address` is that by which it was asked for; `private`: by it only its owners may come in."""

    inner_id: str
    address: str
    private: bool
    dossier: Dossier
    version: int
    created_utc: str
    changed_utc: str


class Dossiers:
    """The kept dossiers; addresses in, as everywhere outside of the store."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self.links = Links(database, DOSSIERS)
        self.openings = Openings(database, DOSSIERS)

    def create(self, dossier: Dossier) -> NewDossier:
        """Keep a dossier that nobody but its owner can open until it is given a reader link."""
        new, now = NewDossier(address=new_address(), owner_key=new_key()), now_utc()
        inner = new_address()
        with self._database.writing() as connection:
            row = {"dossier_id": inner, "private_address": new.address, "created_utc": now, "version": 1}
            connection.execute(insert(db.dossiers).values(row))
            _add_version(connection, inner, 1, dossier, now)
            add_key(connection, inner, new.owner_key, DOSSIERS)
        return new

    def of(self, address: str) -> StoredDossier | None:
        """The dossier at this address, or None."""
        with self._database.reading() as connection:
            found = resolve(connection, address, DOSSIERS)
            stored = _stored(connection, {found.inner_id: (address, found.private)}) if found else []
        return stored[0] if stored else None

    def change(self, address: str, dossier: Dossier, *, seen_version: int) -> int:
        """Put a new version on top; returns its number. Raises NoSuchDossier, ChangedMeanwhile."""
        d = db.dossiers.c
        with self._database.writing() as connection:
            inner = resolved(connection, address, DOSSIERS)
            step = update(db.dossiers).where(d.dossier_id == inner, d.version == seen_version)
            if connection.execute(step.values(version=seen_version + 1)).rowcount != 1:
                raise ChangedMeanwhile(CHANGED)
            _add_version(connection, inner, seen_version + 1, dossier, now_utc())
        return seen_version + 1

    def delete(self, address: str, *, seen_version: int) -> None:
        """Forget a dossier with all its versions and links; its trials stay. Raises NoSuchDossier, ChangedMeanwhile."""
        d = db.dossiers.c
        with self._database.writing() as connection:
            gone = delete(db.dossiers).where(d.dossier_id == resolved(connection, address, DOSSIERS), d.version == seen_version)
            if connection.execute(gone).rowcount != 1:
                raise ChangedMeanwhile(CHANGED)

    def owned_by(self, keys: Iterable[str]) -> list[StoredDossier]:
        """The dossiers of these keys, newest first, each by the address its owners are led to."""
        with self._database.reading() as connection:
            found = addresses_of(connection, self.links.held_by(connection, keys), DOSSIERS)
            return _stored(connection, {name: (at.address, at.private) for name, at in found.items()})

    def forgotten(self, before_utc: str) -> list[tuple[Forgotten, int]]:
        """Dossiers neither made nor opened nor changed since this time (ISO 8601), and in how many versions each is kept."""
        counted = select(db.dossier_versions.c.dossier_id, func.count()).group_by(db.dossier_versions.c.dossier_id)
        with self._database.reading() as connection:
            versions = {row[0]: row[1] for row in connection.execute(counted)}
            return [(one, versions[one.inner_id]) for one in forgotten_since(connection, before_utc, DOSSIERS)]

    def purge(self, one: Forgotten, before_utc: str) -> bool:
        """Delete a forgotten dossier; False where it is needed again meanwhile."""
        return delete_forgotten(self._database, one, before_utc, DOSSIERS)


def _stored(connection: Connection, asked: Mapping[str, tuple[str, bool]]) -> list[StoredDossier]:
    """The dossiers of these names, newest first; `asked` gives for each the address and whether it is the private one."""
    d, v = db.dossiers.c, db.dossier_versions.c
    current = (v.dossier_id == d.dossier_id) & (v.version == d.version)
    query = select(d.dossier_id, d.version, d.created_utc, v.created_utc.label("changed_utc"), v.document_json)
    query = query.join_from(db.dossiers, db.dossier_versions, current).where(d.dossier_id.in_(asked))
    return [_one(row, *asked[row.dossier_id]) for row in connection.execute(query.order_by(d.created_utc.desc(), d.dossier_id))]


def _one(row: Row, address: str, private: bool) -> StoredDossier:
    return StoredDossier(
        inner_id=row.dossier_id, address=address, private=private, dossier=dossier_from_dict(json.loads(row.document_json)),
        version=row.version, created_utc=row.created_utc, changed_utc=row.changed_utc,
    )  # fmt: skip


def _add_version(connection: Connection, inner: str, version: int, dossier: Dossier, now: str) -> None:
    text = json.dumps(dossier.to_dict(), ensure_ascii=False, allow_nan=False)
    row = {"dossier_id": inner, "version": version, "created_utc": now, "document_json": text}
    connection.execute(insert(db.dossier_versions).values(row))
