"""Trials that nobody needs any more: when each was last opened or changed, and which of them go."""

from __future__ import annotations

import logging
from dataclasses import dataclass

from sqlalchemy import delete, func, or_, select, update

from app.store import schema as db
from app.store.addresses import now_utc
from app.store.database import Database
from app.store.problems import StoreProblem
from app.store.trials import StoredTrial, stored_trials

log = logging.getLogger(__name__)

DATE_CHARS = 10  # of an ISO 8601 time
# Names of trials opened today, per process; a server with more of them writes some twice.
MOST_REMEMBERED = 10_000


@dataclass(frozen=True, kw_only=True)
class Forgotten:
    """A trial that was last made, opened, changed or written on at `last_utc`."""

    trial: StoredTrial
    last_utc: str


class Openings:
    """Writes down that a trial was opened, to the day, and once a day only: a page must not wait for a write."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._today: dict[str, str] = {}

    def note(self, inner_id: str) -> None:
        """The trial is being looked at. A database that cannot be written costs a line in the log."""
        today = now_utc()[:DATE_CHARS]
        if self._today.get(inner_id) == today:
            return
        if len(self._today) >= MOST_REMEMBERED:
            self._today.clear()
        self._today[inner_id] = today
        t = db.trials.c
        step = update(db.trials).where(t.trial_id == inner_id, or_(t.opened_utc.is_(None), t.opened_utc < today))
        try:
            with self._database.writing() as connection:
                connection.execute(step.values(opened_utc=today))
        except StoreProblem as problem:
            log.warning("it could not be noted that a trial was opened: %s", problem)


def forgotten_trials(database: Database, before_utc: str) -> list[Forgotten]:
    """Trials neither made nor opened nor changed nor written on since this time (ISO 8601), longest forgotten first."""
    t, s, n = db.trials.c, db.setups.c, db.notes.c
    changed = select(s.trial_id, func.max(s.created_utc).label("at")).group_by(s.trial_id).subquery()
    written = select(n.trial_id, func.max(n.changed_utc).label("at")).group_by(n.trial_id).subquery()
    query = select(t.trial_id, t.created_utc, t.opened_utc, changed.c.at.label("changed"), written.c.at.label("written"))
    query = query.outerjoin(changed, changed.c.trial_id == t.trial_id).outerjoin(written, written.c.trial_id == t.trial_id)
    with database.reading() as connection:
        rows = connection.execute(query).all()
        last = {row.trial_id: max(filter(None, row[1:])) for row in rows}
        found = []
        for inner_id, at in sorted(last.items(), key=lambda pair: pair[1]):
            if at < before_utc:
                (trial,) = stored_trials(connection, {inner_id: (inner_id, True)})
                found.append(Forgotten(trial=trial, last_utc=at))
    return found


def delete_forgotten(database: Database, one: Forgotten, before_utc: str) -> bool:
    """Delete a trial's rows unless it was opened or changed meanwhile; whether it is gone."""
    t, s, n, inner_id = db.trials.c, db.setups.c, db.notes.c, one.trial.inner_id
    since = [
        select(s.trial_id).where(s.trial_id == inner_id, s.created_utc >= before_utc).exists(),
        select(n.trial_id).where(n.trial_id == inner_id, n.changed_utc >= before_utc).exists(),
    ]
    quiet = delete(db.trials).where(t.trial_id == inner_id, or_(t.opened_utc.is_(None), t.opened_utc < before_utc))
    with database.writing() as connection:
        return connection.execute(quiet.where(*(~at for at in since))).rowcount == 1
