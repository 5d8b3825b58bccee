"""Notes that owners pin to a trial, each with a version of its own: of two who change one at once, the later one is told."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from sqlalchemy import Connection, delete, func, insert, select, update

from analysis.errors import BadSetup
from app.store import schema as db
from app.store.addresses import now_utc, resolved
from app.store.carried import NOTE_ID_BYTES
from app.store.database import Database
from app.store.problems import ChangedMeanwhile

MAX_NOTES = 100  # a page with more of them is read by nobody; notes that were carried here stay beyond it

GONE = "Somebody else changed or removed this note meanwhile; reload the page to see the notes as they are."


@dataclass(frozen=True, kw_only=True)
class Note:
    """A note as kept; without times it is about the whole trial. [s on the trial's clock]"""

    note_id: str
    text: str
    from_s: float | None
    to_s: float | None
    created_utc: str
    changed_utc: str
    version: int


class Notes:
    """The notes of every trial; addresses in, as everywhere outside of the store."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of(self, address: str) -> list[Note]:
        """A trial's notes in the order of the ride, those about all of it first. Raises NoSuchTrial."""
        n = db.notes.c
        columns = [n[name] for name in Note.__dataclass_fields__]
        with self._database.reading() as connection:
            rows = connection.execute(select(*columns).where(n.trial_id == resolved(connection, address))).all()
        found = [Note(**row._mapping) for row in rows]
        return sorted(found, key=lambda note: (note.from_s is not None, note.from_s or 0.0, note.created_utc, note.note_id))

    def add(self, address: str, text: str, span: tuple[float, float] | None) -> None:
        """Pin a note. Raises NoSuchTrial, or BadSetup where the trial holds `MAX_NOTES` already."""
        now = now_utc()
        with self._database.writing() as connection:
            inner = resolved(connection, address)
            held = connection.execute(select(func.count()).where(db.notes.c.trial_id == inner)).scalar_one()
            if held >= MAX_NOTES:
                raise BadSetup(f"A trial holds at most {MAX_NOTES} notes; remove one first.")
            row = {"note_id": secrets.token_urlsafe(NOTE_ID_BYTES), "trial_id": inner, "created_utc": now}
            connection.execute(insert(db.notes).values(row | _said(text, span, now) | {"version": 1}))

    def change(self, address: str, note_id: str, text: str, span: tuple[float, float] | None, *, seen_version: int) -> None:
        """Say it otherwise. Raises NoSuchTrial, ChangedMeanwhile."""
        new = _said(text, span, now_utc()) | {"version": seen_version + 1}
        with self._database.writing() as connection:
            query = update(db.notes).where(*self._this(connection, address, note_id, seen_version))
            _one(connection.execute(query.values(new)).rowcount)

    def remove(self, address: str, note_id: str, *, seen_version: int) -> None:
        """Take it away for good. Raises NoSuchTrial, ChangedMeanwhile."""
        with self._database.writing() as connection:
            query = delete(db.notes).where(*self._this(connection, address, note_id, seen_version))
            _one(connection.execute(query).rowcount)

    def shift(self, address: str, by_s: float) -> None:
        """Keep all notes where they are on the ride when the trial's clock begins `by_s` later. Raises NoSuchTrial."""
        n = db.notes.c
        with self._database.writing() as connection:
            pinned = update(db.notes).where(n.trial_id == resolved(connection, address), n.from_s.is_not(None))
            connection.execute(pinned.values(from_s=n.from_s - by_s, to_s=n.to_s - by_s))

    @staticmethod
    def _this(connection: Connection, address: str, note_id: str, version: int) -> tuple:
        n = db.notes.c
        return n.trial_id == resolved(connection, address), n.note_id == note_id, n.version == version


def _said(text: str, span: tuple[float, float] | None, now: str) -> dict:
    from_s, to_s = span or (None, None)
    return {"text": text, "from_s": from_s, "to_s": to_s, "changed_utc": now}


def _one(changed: int) -> None:
    if changed != 1:
        raise ChangedMeanwhile(GONE)
