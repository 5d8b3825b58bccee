"""The links of a trial or dossier: those that only look (reader links), those that may change it (owner keys, kept as hashes).

Links are never deleted while what they lead to is there, only revoked, so that owners see what was given out. They have a
version of their own: of two owners who change them at once, the later one is told.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

from sqlalchemy import Connection, Table, Update, func, insert, select, update

from analysis.errors import BadSetup
from app.store.addresses import addresses_of, alive, ever_of, new_address, new_key, now_utc, resolved
from app.store.database import Database
from app.store.holders import TRIALS, Holder
from app.store.problems import ChangedMeanwhile, LastOwnerLink

LABEL_CHARS = 80
# A link's name on the page: this much of the key's hash tells a trial's keys apart, and no key follows from it.
NAME_CHARS = 16
DAY_ENDS_LATE = timedelta(hours=36)  # from a day's beginning in UTC to where it ends last
MAX_LINKS = 100  # of each kind that the page makes of one trial or dossier; more is no giving out any more


@dataclass(frozen=True, kw_only=True)
class Link:
    """One link as its owner sees it; `name` is a reader link's address, or tells an owner link from the others."""

    name: str
    label: str
    created_utc: str
    expires_utc: str | None
    revoked_utc: str | None
    lives: bool

    @property
    def last_day(self) -> str:
        """The day it ends, as it was typed; empty for a link without end."""
        end = self.expires_utc and datetime.fromisoformat(self.expires_utc) - DAY_ENDS_LATE
        return end.date().isoformat() if end else ""


@dataclass(frozen=True, kw_only=True)
class GivenOut:
    """All links of a trial or dossier, oldest first, and the version that a change of them must name."""

    version: int
    readers: tuple[Link, ...]
    owners: tuple[Link, ...]


class Links:
    """The links of every trial, or of what else `of` says; addresses in, as everywhere outside of the store.

    Where an address leads nowhere, each raises NoSuchTrial or NoSuchDossier.
    """

    def __init__(self, database: Database, of: Holder = TRIALS) -> None:
        self._database = database
        self._of = of

    def of(self, address: str) -> GivenOut:
        """All of them."""
        of, now = self._of, now_utc()
        with self._database.reading() as connection:
            inner_id = resolved(connection, address, of)
            version = connection.execute(select(of.table.c.links_version).where(of.id == inner_id)).scalar_one()
            named = ((of.readers, of.readers.c.token), (of.owners, of.owners.c.key_sha256))
            queries = [select(c.label("name"), *_about(table, now)).where(of.id_in(table) == inner_id) for table, c in named]
            rows = [connection.execute(q.order_by("created_utc", "name")).mappings().all() for q in queries]
        made = [tuple(Link(**(dict(row) | {"lives": bool(row["lives"])})) for row in found) for found in rows]
        return GivenOut(version=version, readers=made[0], owners=tuple(_named(link) for link in made[1]))

    def new_reader(self, address: str, *, label: str = "", expires: str = "", seen_version: int | None = None) -> str:
        """A further reader link; returns its address.

        Raises
        ------
        BadSetup
            `expires` is not empty and no date to come, the label is too long, or there are too many links.
        ChangedMeanwhile
            `seen_version` was given and is no longer the current one.
        """
        token, row = new_address(), _checked(label, expires)
        with self._database.writing() as connection:
            inner_id = self._changing(connection, address, seen_version)
            if seen_version is not None:
                self._check_room(connection, self._of.readers, inner_id)
            add_reader(connection, inner_id, token, self._of, **row)
        return token

    def change_reader(self, address: str, token: str, *, label: str, expires: str, seen_version: int) -> None:
        """Name a reader link, or set the day it ends. Raises as `new_reader`; a revoked link stays revoked."""
        row = _checked(label, expires)
        with self._database.writing() as connection:
            self._done(connection.execute(self._reader(connection, address, token, seen_version).values(row)).rowcount)

    def revoke_reader(self, address: str, token: str, *, seen_version: int) -> None:
        """From now on nothing is found under this link. Raises ChangedMeanwhile."""
        with self._database.writing() as connection:
            step = self._reader(connection, address, token, seen_version)
            self._done(connection.execute(step.values(revoked_utc=now_utc())).rowcount)

    def new_owner(self, address: str, *, label: str = "", expires: str = "", seen_version: int | None = None) -> str:
        """A further owner key, told once. Raises as `new_reader`."""
        key, row = new_key(), _checked(label, expires)
        with self._database.writing() as connection:
            inner_id = self._changing(connection, address, seen_version)
            if seen_version is not None:
                self._check_room(connection, self._of.owners, inner_id)
            add_key(connection, inner_id, key, self._of, **row)
        return key

    def revoke_owner(self, address: str, name: str, *, seen_version: int, even_the_last: bool = False) -> None:
        """From now on the key changes nothing.

        Raises
        ------
        ChangedMeanwhile
        LastOwnerLink
            No other key would be left, and `even_the_last` does not say that this is meant.
        """
        with self._database.writing() as connection:
            of, now = self._of, now_utc()
            held = of.id_in(of.owners) == self._changing(connection, address, seen_version)
            c = of.owners.c
            living = select(c.key_sha256).where(held, alive(of.owners, now))
            known = connection.execute(living).scalars().all()
            meant = [key for key in known if key[:NAME_CHARS] == name]
            if meant and len(known) == 1 and not even_the_last:
                raise LastOwnerLink(
                    f"This is the {of.noun}'s last owner link: without it nobody can change or delete the {of.noun} any more. "
                    "Make another one first, or say that you mean it."
                )
            step = update(of.owners).where(held, c.key_sha256.in_(meant))
            self._done(connection.execute(step.values(revoked_utc=now)).rowcount)

    def name_of(self, key: str) -> str:
        """What a key's link is called among the others."""
        return key_hash(key)[:NAME_CHARS]

    def owned(self, address: str, keys: Iterable[str]) -> bool:
        """Whether one of the keys opens what an address leads to now, or led to once."""
        return self.way_in(address, keys) is not None

    def way_in(self, address: str, keys: Iterable[str]) -> str | None:
        """The address at which the holder of one of these keys is led now; None where no key fits.

        The comparison's time tells nothing of how close a key was.
        """
        given = [key_hash(key) for key in keys]
        of = self._of
        with self._database.reading() as connection:
            inner_id = ever_of(connection, address, of)
            query = select(of.owners.c.key_sha256).where(of.id_in(of.owners) == (inner_id or ""), alive(of.owners, now_utc()))
            known = connection.execute(query).scalars().all()
            if not any([hmac.compare_digest(mine, one) for mine in given for one in known]):
                return None
            return addresses_of(connection, [inner_id], of)[inner_id].address

    def held_by(self, connection: Connection, keys: Iterable[str]) -> list[str]:
        """The names in the database of all that these keys open."""
        of, hashes = self._of, [key_hash(key) for key in keys]
        query = select(of.id_in(of.owners)).where(of.owners.c.key_sha256.in_(hashes), alive(of.owners, now_utc()))
        return list(connection.execute(query.distinct()).scalars())

    def _changing(self, connection: Connection, address: str, seen_version: int | None) -> str:
        """The name in the database; the links have a new version from here on, or the transaction ends with what is raised."""
        of = self._of
        inner_id, version = resolved(connection, address, of), of.table.c.links_version
        step = update(of.table).where(of.id == inner_id)
        if seen_version is not None:
            step = step.where(version == seen_version)
        self._done(connection.execute(step.values(links_version=version + 1)).rowcount)
        return inner_id

    def _reader(self, connection: Connection, address: str, token: str, seen_version: int) -> Update:
        """A change of one reader link that is not revoked."""
        of, c = self._of, self._of.readers.c
        inner_id = self._changing(connection, address, seen_version)
        return update(of.readers).where(of.id_in(of.readers) == inner_id, c.token == token, c.revoked_utc.is_(None))

    def _check_room(self, connection: Connection, table: Table, inner_id: str) -> None:
        held = select(func.count()).where(self._of.id_in(table) == inner_id)
        if connection.execute(held).scalar_one() >= MAX_LINKS:
            raise BadSetup(
                f"A {self._of.noun} has at most {MAX_LINKS} links of a kind, revoked ones included; use one that is there."
            )

    def _done(self, rowcount: int) -> None:
        if rowcount != 1:
            whose = f"this {self._of.noun}'s links"
            raise ChangedMeanwhile(f"Somebody else changed {whose} meanwhile; reload the page and try again.")


def add_key(connection: Connection, inner_id: str, key: str, of: Holder = TRIALS, **about: str | None) -> None:
    """Keep the hash of a new owner key."""
    row = {f"{of.noun}_id": inner_id, "key_sha256": key_hash(key), "created_utc": now_utc()} | about
    connection.execute(insert(of.owners).values(row))


def add_reader(connection: Connection, inner_id: str, token: str, of: Holder = TRIALS, **about: str | None) -> None:
    """Keep a new reader link."""
    row = {f"{of.noun}_id": inner_id, "token": token, "created_utc": now_utc()} | about
    connection.execute(insert(of.readers).values(row))


def key_hash(owner_key: str) -> str:
    """Plain SHA-256 is enough: the key is random over 256 bit, there is nothing to guess or to salt."""
    return hashlib.sha256(owner_key.encode(errors="replace")).hexdigest()


def end_of_day(expires: str) -> str | None:
    """The end of a day as typed, `2027-03-31`, at the last place on earth where it ends (UTC-12); None for no end.

    Raises BadSetup.
    """
    text = expires.strip()
    if not text:
        return None
    try:
        day = date.fromisoformat(text) if re.fullmatch(r"\d{4}-\d\d-\d\d", text) else None
        end = None if day is None else datetime(day.year, day.month, day.day, tzinfo=UTC) + DAY_ENDS_LATE
    except (ValueError, OverflowError):
        end = None
    if end is None:
        raise BadSetup(f"The day a link ends must be a date like 2027-03-31; got {text[:40]!r}.")
    told = end.isoformat(timespec="milliseconds")
    if told <= now_utc():
        raise BadSetup(f"The day a link ends must be still to come; got {text}. To end a link now, revoke it.")
    return told


def _checked(label: str, expires: str) -> dict[str, str | None]:
    text = " ".join("".join(sign if sign.isprintable() else " " for sign in label).split())
    if len(text) > LABEL_CHARS:
        raise BadSetup(f"A link's name may have {LABEL_CHARS} characters; shorten {text[:20]!r}...")
    return {"label": text, "expires_utc": end_of_day(expires)}


def _about(table: Table, now: str) -> list:
    c = table.c
    return [c.label, c.created_utc, c.expires_utc, c.revoked_utc, alive(table, now).label("lives")]


def _named(link: Link) -> Link:
    return replace(link, name=link.name[:NAME_CHARS])
