"""Which trial or dossier an address leads to: through a reader link that lives, or through its private address.

Inside the database each has a name (such as `trial.trial_id`) that stands in no address. Outside of this package only
addresses are passed around. Unknown, ended and revoked links are one and the same here: the same query finds nothing.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import ColumnElement, Connection, Table, false, or_, select, true, union_all

from app.store.holders import TRIALS, Holder

# Random bytes behind an address and behind an owner's key: 192 and 256 bit, above the 128 that design.md asks for.
ADDRESS_BYTES = 24
KEY_BYTES = 32
# Anything else was never given out, and not every database can even be asked for it.
_ADDRESS = re.compile(r"[A-Za-z0-9_-]{22,64}")


@dataclass(frozen=True, kw_only=True)
class Found:
    """A name in the database; `private` when only its owners may come in by the address."""

    inner_id: str
    private: bool


@dataclass(frozen=True, kw_only=True)
class Current:
    """Where owners are led to."""

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


def resolve(connection: Connection, address: str, of: Holder = TRIALS) -> Found | None:
    """The trial (or what else `of` says) that an address leads to, or None."""
    if not _ADDRESS.fullmatch(address):
        return None
    link, own = of.readers.c, of.table.c
    living = (link.token == address) & alive(of.readers, now_utc())
    by_link = select(of.id_in(of.readers).label("inner_id"), false().label("private")).where(living)
    by_private = select(of.id, true().label("private")).where(own.private_address == address)
    row = connection.execute(union_all(by_link, by_private)).first()
    return None if row is None else Found(inner_id=row.inner_id, private=bool(row.private))


def resolved(connection: Connection, address: str, of: Holder = TRIALS) -> str:
    """The name in the database of what an address leads to. Raises NoSuchTrial, or what `of` has for it."""
    found = resolve(connection, address, of)
    if found is None:
        raise of.missing()
    return found.inner_id


def ever_of(connection: Connection, address: str, of: Holder = TRIALS) -> str | None:
    """What an address led to at any time; for owners, who come in by links that are closed to readers."""
    if not _ADDRESS.fullmatch(address):
        return None
    by_link = select(of.id_in(of.readers)).where(of.readers.c.token == address)
    by_private = select(of.id).where(of.table.c.private_address == address)
    return connection.execute(union_all(by_link, by_private)).scalar()


def addresses_of(connection: Connection, inner_ids: Iterable[str], of: Holder = TRIALS) -> dict[str, Current]:
    """By a name in the database, the address its owners are led to: the oldest reader link that lives, else the private one."""
    ids = list(inner_ids)
    query = select(of.id.label("inner_id"), of.table.c.private_address).where(of.id.in_(ids))
    current = {row.inner_id: Current(address=row.private_address, private=True) for row in connection.execute(query)}
    link, owned = of.readers.c, of.id_in(of.readers)
    living = select(owned.label("inner_id"), link.token).where(owned.in_(ids), alive(of.readers, now_utc()))
    for row in connection.execute(living.order_by(link.created_utc.desc(), link.token.desc())):
        current[row.inner_id] = Current(address=row.token, private=False)
    return current
