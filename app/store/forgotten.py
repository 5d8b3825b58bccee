"""Trials and dossiers that nobody needs any more: when each was last opened or changed, and which of them go."""

from __future__ import annotations

import logging
from dataclasses import dataclass

from sqlalchemy import Connection, delete, func, or_, select, update

from app.store.addresses import now_utc
from app.store.database import Database
from app.store.holders import TRIALS, Holder
from app.store.problems import StoreProblem

log = logging.getLogger(__name__)

DATE_CHARS = 10  # of an ISO 8601 time
# Names of trials opened today, per process; a server with more of them writes some twice.
MOST_REMEMBERED = 10_000


@dataclass(frozen=True, kw_only=True)
class Forgotten:
    """What was last made, opened, changed or written on at `last_utc`; `inner_id` is its name in the database."""

    inner_id: str
    last_utc: str


class Openings:
    """Writes down that a trial or dossier was opened, to the day, and once a day only: a page must not wait for a write."""

    def __init__(self, database: Database, of: Holder = TRIALS) -> None:
        self._database = database
        self._of = of
        self._today: dict[str, str] = {}

    def note(self, inner_id: str) -> None:
        """It is being looked at. A database that cannot be written costs a line in the log."""
        today = now_utc()[:DATE_CHARS]
        if self._today.get(inner_id) == today:
            return
        if len(self._today) >= MOST_REMEMBERED:
            self._today.clear()
        self._today[inner_id] = today
        opened = self._of.table.c.opened_utc
        step = update(self._of.table).where(self._of.id == inner_id, or_(opened.is_(None), opened < today))
        try:
            with self._database.writing() as connection:
                connection.execute(step.values(opened_utc=today))
        except StoreProblem as problem:
            log.warning("it could not be noted that a %s was opened: %s", self._of.noun, problem)


def forgotten_since(connection: Connection, before_utc: str, of: Holder = TRIALS) -> list[Forgotten]:
    """Those neither made nor opened nor changed nor written on since this time (ISO 8601), longest forgotten first."""
    query = select(of.id, of.table.c.created_utc, of.table.c.opened_utc)
    for column in of.changes:
        owned = of.id_in(column.table)
        latest = select(owned, func.max(column).label("at")).group_by(owned).subquery()
        query = query.add_columns(latest.c.at).outerjoin(latest, of.id_in(latest) == of.id)
    last = [Forgotten(inner_id=row[0], last_utc=max(filter(None, row[1:]))) for row in connection.execute(query)]
    return sorted((one for one in last if one.last_utc < before_utc), key=lambda one: (one.last_utc, one.inner_id))


def delete_forgotten(database: Database, one: Forgotten, before_utc: str, of: Holder = TRIALS) -> bool:
    """Delete its rows unless it was opened or changed meanwhile; whether it is gone."""
    opened = of.table.c.opened_utc
    quiet = delete(of.table).where(of.id == one.inner_id, or_(opened.is_(None), opened < before_utc))
    since = [select(of.id_in(c.table)).where(of.id_in(c.table) == one.inner_id, c >= before_utc).exists() for c in of.changes]
    with database.writing() as connection:
        return connection.execute(quiet.where(*(~at for at in since))).rowcount == 1
