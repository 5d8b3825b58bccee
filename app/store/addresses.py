"""Which trial an address leads to: through a reader link that lives, or through the trial's private address.

Inside the database a trial has a name (`trial.trial_id`) that stands in no address. Outside of this package only addresses are
passed around. Unknown, ended and revoked links are one and the same here: the same query finds nothing.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import ColumnElement, Connection, Table, false, or_, select, true, union_all

from app.store import schema as db
from app.store.problems import NoSuchTrial

# Random bytes behind an address and behind an owner's key: 192 and 256 bit, above the 128 that design.md asks for.
ADDRESS_BYTES = 24
KEY_BYTES = 32
# Anything else was never given out, and not every database can even be asked for it.
_ADDRESS = re.compile(r"[A-Za-z0-9_-]{22,64}")


@dataclass(frozen=True, kw_only=True)
class Found:
    """A trial's name in the database; `private` when only its owners may come in by the address."""

    trial_id: str
    private: bool


@dataclass(frozen=True, kw_only=True)
class Current:
    """Where a trial's owners are led to."""

    address: str
    private: bool


def new_address() -> str:
    return secrets.token_urlsafe(ADDRESS_BYTES)


def new_key() -> str:
    return secrets.token_urlsafe(KEY_BYTES)


def now_utc() -> str:
    """As every time in the database is written; texts of this form sort as the times do."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def alive(table: Table, now: str) -> ColumnElement[bool]:
    """Neither revoked nor ended; for reader links and owner keys."""
    c = table.c
    return c.revoked_utc.is_(None) & or_(c.expires_utc.is_(None), c.expires_utc > now)


def resolve(connection: Connection, address: str) -> Found | None:
    """The trial an address leads to, or None."""
    if not _ADDRESS.fullmatch(address):
        return None
    link, trial = db.reader_links.c, db.trials.c
    by_link = select(link.trial_id, false().label("private")).where(link.token == address, alive(db.reader_links, now_utc()))
    by_private = select(trial.trial_id, true().label("private")).where(trial.private_address == address)
    row = connection.execute(union_all(by_link, by_private)).first()
    return None if row is None else Found(trial_id=row.trial_id, private=bool(row.private))


def resolved(connection: Connection, address: str) -> str:
    """The name of the trial an address leads to. Raises NoSuchTrial."""
    found = resolve(connection, address)
    if found is None:
        raise NoSuchTrial("There is no trial at this address; check that the link is complete.")
    return found.trial_id


def ever_of(connection: Connection, address: str) -> str | None:
    """The trial an address led to at any time; for owners, who come in by links that are closed to readers."""
    if not _ADDRESS.fullmatch(address):
        return None
    link, trial = db.reader_links.c, db.trials.c
    by_link = select(link.trial_id).where(link.token == address)
    return connection.execute(union_all(by_link, select(trial.trial_id).where(trial.private_address == address))).scalar()


def addresses_of(connection: Connection, trial_ids: Iterable[str]) -> dict[str, Current]:
    """By a trial's name, the address its owners are led to: the oldest reader link that lives, else the private address."""
    ids = list(trial_ids)
    trial, link = db.trials.c, db.reader_links.c
    query = select(trial.trial_id, trial.private_address).where(trial.trial_id.in_(ids))
    current = {row.trial_id: Current(address=row.private_address, private=True) for row in connection.execute(query)}
    living = select(link.trial_id, link.token).where(link.trial_id.in_(ids), alive(db.reader_links, now_utc()))
    for row in connection.execute(living.order_by(link.created_utc.desc(), link.token.desc())):
        current[row.trial_id] = Current(address=row.token, private=False)
    return current
