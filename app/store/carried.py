"""Notes as they go along with a trial from one server to another."""

from __future__ import annotations

import secrets
from dataclasses import asdict

from sqlalchemy import Connection, insert, select

from app.carrying.carried import CarriedNote
from app.store import schema as db

NOTE_ID_BYTES = 16


def notes_of(connection: Connection, trial_id: str) -> list[CarriedNote]:
    """The notes of the trial of this name in the database, oldest first."""
    n = db.notes.c
    query = select(n.text, n.created_utc, n.changed_utc, n.from_s, n.to_s).where(n.trial_id == trial_id)
    rows = connection.execute(query.order_by(n.created_utc, n.note_id)).all()
    return [CarriedNote(**row._mapping) for row in rows]


def add_note(connection: Connection, trial_id: str, note: CarriedNote) -> None:
    """Put it under a trial that is being made."""
    row = {"note_id": secrets.token_urlsafe(NOTE_ID_BYTES), "trial_id": trial_id, "version": 1}
    connection.execute(insert(db.notes).values(row | asdict(note)))
