"""Dossiers as kept: every version of what their owners wrote; an address for readers, one for owners, keys as hashes."""

from __future__ import annotations

import hmac
import json
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import Connection, delete, insert, or_, select, update

from analysis.dossier.document import Dossier, dossier_from_dict
from app.store import schema as db
from app.store.addresses import new_address, new_key, now_utc
from app.store.database import Database
from app.store.links import key_hash
from app.store.problems import ChangedMeanwhile, NoSuchDossier

CHANGED = "Somebody else changed this dossier meanwhile; reload the page and try again."
MAX_KEYS = 20  # owner links of one dossier; more is no keeping to oneself any more


@dataclass(frozen=True, kw_only=True)
class NewDossier:
    """Told once: the key is not kept in the clear anywhere. `address` is the owner's, readers have their own."""

    address: str
    owner_key: str


@dataclass(frozen=True, kw_only=True)
class StoredDossier:
    """A dossier as kept. `reader_address` is None while it is not published; `private` when it was found by the owner's."""

    inner_id: str
    dossier: Dossier
    version: int
    created_utc: str
    changed_utc: str
    own_address: str
    reader_address: str | None
    private: bool


class Dossiers:
    """The kept dossiers; addresses in, as everywhere outside of the store."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def create(self, dossier: Dossier) -> NewDossier:
        """Keep a dossier that nobody but its owner can open yet."""
        new, now = NewDossier(address=new_address(), owner_key=new_key()), now_utc()
        inner = new_address()
        with self._database.writing() as connection:
            row = {"dossier_id": inner, "own_address": new.address, "created_utc": now, "version": 1}
            connection.execute(insert(db.dossiers).values(row))
            _add_version(connection, inner, 1, dossier, now)
            _add_key(connection, inner, new.owner_key)
        return new

    def of(self, address: str) -> StoredDossier | None:
        """The dossier at this address, or None."""
        d, v = db.dossiers.c, db.dossier_versions.c
        query = select(d, v.document_json, v.created_utc.label("changed_utc"))
        query = query.join_from(db.dossiers, db.dossier_versions, (v.dossier_id == d.dossier_id) & (v.version == d.version))
        with self._database.reading() as connection:
            row = connection.execute(query.where(or_(d.own_address == address, d.reader_address == address))).mappings().first()
        if row is None:
            return None
        return StoredDossier(
            inner_id=row["dossier_id"], dossier=dossier_from_dict(json.loads(row["document_json"])), version=row["version"],
            created_utc=row["created_utc"], changed_utc=row["changed_utc"], own_address=row["own_address"],
            reader_address=row["reader_address"], private=row["own_address"] == address,
        )  # fmt: skip

    def change(self, address: str, dossier: Dossier, *, seen_version: int) -> int:
        """Put a new version on top; returns its number. Raises NoSuchDossier, ChangedMeanwhile."""
        d = db.dossiers.c
        with self._database.writing() as connection:
            inner = _inner(connection, address)
            step = update(db.dossiers).where(d.dossier_id == inner, d.version == seen_version)
            if connection.execute(step.values(version=seen_version + 1)).rowcount != 1:
                raise ChangedMeanwhile(CHANGED)
            _add_version(connection, inner, seen_version + 1, dossier, now_utc())
        return seen_version + 1

    def publish(self, address: str) -> str:
        """The address for readers; made now, or the one there is. Raises NoSuchDossier."""
        d = db.dossiers.c
        with self._database.writing() as connection:
            inner = _inner(connection, address)
            there = connection.execute(select(d.reader_address).where(d.dossier_id == inner).with_for_update()).scalar_one()
            if there is None:
                there = new_address()
                connection.execute(update(db.dossiers).where(d.dossier_id == inner).values(reader_address=there))
        return there

    def withdraw(self, address: str) -> None:
        """From now on nothing is found under the readers' address; publishing again makes another. Raises NoSuchDossier."""
        with self._database.writing() as connection:
            step = update(db.dossiers).where(db.dossiers.c.dossier_id == _inner(connection, address))
            connection.execute(step.values(reader_address=None))

    def new_owner_key(self, address: str) -> str:
        """A further owner key, told once. Raises NoSuchDossier, or ChangedMeanwhile where there are too many."""
        key, k = new_key(), db.dossier_keys.c
        with self._database.writing() as connection:
            inner = _inner(connection, address)
            if len(connection.execute(select(k.key_sha256).where(k.dossier_id == inner)).all()) >= MAX_KEYS:
                raise ChangedMeanwhile(f"A dossier has at most {MAX_KEYS} owner links; withdraw them all first.")
            _add_key(connection, inner, key)
        return key

    def revoke_other_keys(self, address: str, kept_keys: Iterable[str]) -> None:
        """Every owner key but those given opens nothing any more. Raises NoSuchDossier."""
        kept, k = [key_hash(key) for key in kept_keys], db.dossier_keys.c
        with self._database.writing() as connection:
            inner = _inner(connection, address)
            connection.execute(delete(db.dossier_keys).where(k.dossier_id == inner, k.key_sha256.not_in(kept)))

    def delete(self, address: str) -> None:
        """Forget a dossier with all its versions; its trials stay. Raises NoSuchDossier."""
        with self._database.writing() as connection:
            connection.execute(delete(db.dossiers).where(db.dossiers.c.dossier_id == _inner(connection, address)))

    def owned(self, address: str, keys: Iterable[str]) -> bool:
        """Whether one of the keys is the dossier's; the comparison's time tells nothing of how close it was."""
        given, k = [key_hash(key) for key in keys], db.dossier_keys.c
        d = db.dossiers.c
        query = select(k.key_sha256).join_from(db.dossier_keys, db.dossiers, k.dossier_id == d.dossier_id)
        with self._database.reading() as connection:
            known = connection.execute(query.where(or_(d.own_address == address, d.reader_address == address))).scalars().all()
        return any([hmac.compare_digest(mine, one) for mine in given for one in known])

    def owned_by(self, keys: Iterable[str]) -> list[StoredDossier]:
        """The dossiers of these keys, newest first."""
        hashes, k, d = [key_hash(key) for key in keys], db.dossier_keys.c, db.dossiers.c
        query = select(d.own_address).join_from(db.dossiers, db.dossier_keys, k.dossier_id == d.dossier_id)
        query = query.where(k.key_sha256.in_(hashes)).order_by(d.created_utc.desc()).distinct()
        with self._database.reading() as connection:
            addresses = connection.execute(query.add_columns(d.created_utc)).all()
        return [found for row in addresses if (found := self.of(row.own_address)) is not None]


def _inner(connection: Connection, address: str) -> str:
    d = db.dossiers.c
    found = connection.execute(select(d.dossier_id).where(or_(d.own_address == address, d.reader_address == address))).scalar()
    if found is None:
        raise NoSuchDossier()
    return found


def _add_version(connection: Connection, inner: str, version: int, dossier: Dossier, now: str) -> None:
    text = json.dumps(dossier.to_dict(), ensure_ascii=False, allow_nan=False)
    row = {"dossier_id": inner, "version": version, "created_utc": now, "document_json": text}
    connection.execute(insert(db.dossier_versions).values(row))


def _add_key(connection: Connection, inner: str, key: str) -> None:
    row = {"dossier_id": inner, "key_sha256": key_hash(key), "created_utc": now_utc()}
    connection.execute(insert(db.dossier_keys).values(row))
