"""Blobs that no trial needs any more: the one place that deletes any.

Against a trial that is being made of the same recordings: writers wait while a sweep looks and deletes, and
`Store.create_trial` looks for its blobs after its rows are written. Whoever is first, the other one sees it. Against an upload
that waits for its trial: a blob put since `put_before_s` stays.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import Connection, select, text

from app.store import schema as db
from app.store.blobs import Blobs
from app.store.database import POSTGRES, Database

# From dropping files onto the page to pressing Analyse; whoever takes longer uploads again and is told so.
UPLOAD_WAITS_S = 86400.0


@dataclass(frozen=True, kw_only=True)
class Swept:
    """How many blobs went, and the bytes they had on disk."""

    blobs: int = 0
    n_bytes: int = 0


def sweep_unreferenced(
    database: Database, blobs: Blobs, *, among: Iterable[str] | None = None, put_before_s: float | None = None
) -> Swept:
    """Delete blobs that belong to no trial; safe beside other processes that upload, create and sweep.

    Parameters
    ----------
    among : hashes
        Look at these only; None for all there are.
    put_before_s : float
        Blobs put at or after this Unix time stay, because an upload may wait for its trial. None: a day ago. For a deleted
        trial's own recordings, the time at which that trial was made: whatever was put later is somebody else's. [s]
    """
    before_s = time.time() - UPLOAD_WAITS_S if put_before_s is None else put_before_s
    if among is None:
        blobs.tidy(put_before_s=before_s)
    with database.writing() as connection:
        hold_writers(connection)
        needed = set(connection.execute(select(db.recordings.c.sha256).distinct()).scalars())
        gone = [blobs.drop(sha256, put_before_s=before_s) for sha256 in set(blobs.names() if among is None else among) - needed]
    freed = [n_bytes for n_bytes in gone if n_bytes]
    return Swept(blobs=len(freed), n_bytes=sum(freed))


def hold_writers(connection: Connection) -> None:
    """Let nobody add a trial before this transaction ends; call it first in a `Database.writing`, enough by itself on SQLite."""
    if connection.dialect.name == POSTGRES:
        connection.execute(text(f"LOCK TABLE {db.recordings.name} IN SHARE ROW EXCLUSIVE MODE"))
