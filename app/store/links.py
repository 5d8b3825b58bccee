"""The links of a trial: those that only look (reader links), and those that may change it (owner keys, kept as hashes).

Links are never deleted while the trial is there, only revoked, so that owners see what was given out. A trial's links have a
version of their own: of two owners who change them at once, the later one is told.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta

from sqlalchemy import Connection, Table, insert, select, update

from analysis.errors import BadSetup
from app.store import schema as db
from app.store.addresses import addresses_of, alive, ever_of, new_address, new_key, now_utc, resolved
from app.store.database import Database
from app.store.problems import ChangedMeanwhile, LastOwnerLink

LABEL_CHARS = 80
# A link's name on the page: this much of the key's hash tells a trial's keys apart, and no key follows from it.
NAME_CHARS = 16
DAY_ENDS_LATE = timedelta(hours=36)  # from a day's beginning in UTC to where it ends last
MAX_LINKS = 100  # of each kind that the page makes in one trial; more is no giving out any more

CHANGED = "Somebody else changed this trial's links meanwhile; reload the page and try again."


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
class TrialLinks:
    """All links of a trial, oldest first, and the version that a change of them must name."""

    version: int
    readers: tuple[Link, ...]
    owners: tuple[Link, ...]


class Links:
    """The links of every trial; addresses in, as everywhere outside of the store."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of(self, address: str) -> TrialLinks:
        """Raises NoSuchTrial."""
        reader, owner, now = db.reader_links.c, db.owner_keys.c, now_utc()
        with self._database.reading() as connection:
            trial_id = resolved(connection, address)
            version = connection.execute(select(db.trials.c.links_version).where(db.trials.c.trial_id == trial_id)).scalar_one()
            readers = select(reader.token.label("name"), *_about(db.reader_links, now)).where(reader.trial_id == trial_id)
            owners = select(owner.key_sha256.label("name"), *_about(db.owner_keys, now)).where(owner.trial_id == trial_id)
            rows = [connection.execute(q.order_by("created_utc", "name")).mappings().all() for q in (readers, owners)]
        made = [tuple(Link(**(dict(row) | {"lives": bool(row["lives"])})) for row in found) for found in rows]
        return TrialLinks(version=version, readers=made[0], owners=tuple(_named(link) for link in made[1]))

    def new_reader(self, address: str, *, label: str = "", expires: str = "", seen_version: int | None = None) -> str:
        """A further reader link; returns its address.

        Raises
        ------
        NoSuchTrial
        BadSetup
            `expires` is not empty and no date to come, the label is too long, or there are too many links.
        ChangedMeanwhile
            `seen_version` was given and is no longer the current one.
        """
        token, row = new_address(), _checked(label, expires)
        with self._database.writing() as connection:
            trial_id = self._changing(connection, address, seen_version)
            if seen_version is not None:
                _check_room(connection, db.reader_links, trial_id)
            connection.execute(insert(db.reader_links).values(token=token, trial_id=trial_id, created_utc=now_utc(), **row))
        return token

    def change_reader(self, address: str, token: str, *, label: str, expires: str, seen_version: int) -> None:
        """Name a reader link, or set the day it ends. Raises as `new_reader`; a revoked link stays revoked."""
        row = _checked(label, expires)
        with self._database.writing() as connection:
            trial_id = self._changing(connection, address, seen_version)
            c = db.reader_links.c
            step = update(db.reader_links).where(c.trial_id == trial_id, c.token == token, c.revoked_utc.is_(None))
            _done(connection.execute(step.values(row)).rowcount)

    def revoke_reader(self, address: str, token: str, *, seen_version: int) -> None:
        """From now on nothing is found under this link. Raises NoSuchTrial, ChangedMeanwhile."""
        with self._database.writing() as connection:
            trial_id = self._changing(connection, address, seen_version)
            c = db.reader_links.c
            step = update(db.reader_links).where(c.trial_id == trial_id, c.token == token, c.revoked_utc.is_(None))
            _done(connection.execute(step.values(revoked_utc=now_utc())).rowcount)

    def new_owner(self, address: str, *, label: str = "", expires: str = "", seen_version: int | None = None) -> str:
        """A further owner key, told once. Raises as `new_reader`."""
        key, row = new_key(), _checked(label, expires)
        with self._database.writing() as connection:
            trial_id = self._changing(connection, address, seen_version)
            if seen_version is not None:
                _check_room(connection, db.owner_keys, trial_id)
            add_key(connection, trial_id, key, **row)
        return key

    def revoke_owner(self, address: str, name: str, *, seen_version: int, even_the_last: bool = False) -> None:
        """From now on the key changes nothing.

        Raises
        ------
        NoSuchTrial, ChangedMeanwhile
        LastOwnerLink
            No other key would be left, and `even_the_last` does not say that this is meant.
        """
        with self._database.writing() as connection:
            trial_id = self._changing(connection, address, seen_version)
            c, now = db.owner_keys.c, now_utc()
            living = select(c.key_sha256).where(c.trial_id == trial_id, alive(db.owner_keys, now))
            known = connection.execute(living).scalars().all()
            meant = [key for key in known if key[:NAME_CHARS] == name]
            if meant and len(known) == 1 and not even_the_last:
                raise LastOwnerLink(
                    "This is the trial's last owner link: without it nobody can change or delete the trial any more. "
                    "Make another one first, or say that you mean it."
                )
            step = update(db.owner_keys).where(c.trial_id == trial_id, c.key_sha256.in_(meant))
            _done(connection.execute(step.values(revoked_utc=now)).rowcount)

    def name_of(self, key: str) -> str:
        """What a key's link is called among a trial's links."""
        return key_hash(key)[:NAME_CHARS]

    def owned(self, address: str, keys: Iterable[str]) -> bool:
        """Whether one of the keys is the trial's, by an address that leads there now or did once."""
        return self.way_in(address, keys) is not None

    def way_in(self, address: str, keys: Iterable[str]) -> str | None:
        """The address at which the holder of one of these keys finds the trial now; None where no key fits.

        The comparison's time tells nothing of how close a key was.
        """
        given = [key_hash(key) for key in keys]
        c = db.owner_keys.c
        with self._database.reading() as connection:
            trial_id = ever_of(connection, address)
            query = select(c.key_sha256).where(c.trial_id == (trial_id or ""), alive(db.owner_keys, now_utc()))
            known = connection.execute(query).scalars().all()
            if not any([hmac.compare_digest(mine, one) for mine in given for one in known]):
                return None
            return addresses_of(connection, [trial_id])[trial_id].address

    def _changing(self, connection: Connection, address: str, seen_version: int | None) -> str:
        """The trial's name; its links have a new version from here on, or the transaction ends with what is raised."""
        trial_id = resolved(connection, address)
        t = db.trials.c
        step = update(db.trials).where(t.trial_id == trial_id)
        if seen_version is not None:
            step = step.where(t.links_version == seen_version)
        _done(connection.execute(step.values(links_version=t.links_version + 1)).rowcount)
        return trial_id


def add_key(connection: Connection, trial_id: str, key: str, **about: str | None) -> None:
    """Keep the hash of a trial's new owner key."""
    row = {"trial_id": trial_id, "key_sha256": key_hash(key), "created_utc": now_utc()} | about
    connection.execute(insert(db.owner_keys).values(row))


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


def _check_room(connection: Connection, table: Table, trial_id: str) -> None:
    if len(connection.execute(select(table.c.created_utc).where(table.c.trial_id == trial_id)).all()) >= MAX_LINKS:
        raise BadSetup(f"A trial has at most {MAX_LINKS} links of a kind, revoked ones included; use one that is there.")


def _about(table: Table, now: str) -> list:
    c = table.c
    return [c.label, c.created_utc, c.expires_utc, c.revoked_utc, alive(table, now).label("lives")]


def _named(link: Link) -> Link:
    return replace(link, name=link.name[:NAME_CHARS])


def _done(rowcount: int) -> None:
    if rowcount != 1:
        raise ChangedMeanwhile(CHANGED)
