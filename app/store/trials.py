"""Trials out of the database: as their pages need them, by the addresses they were asked for."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, insert, select

from analysis.setup import Setup, setup_from_dict
from app.store import schema as db


@dataclass(frozen=True, kw_only=True)
class NewTrial:
    """Told once: the address of its first reader link, and the key, which is not kept in the clear anywhere."""

    trial_id: str
    owner_key: str


@dataclass(frozen=True, kw_only=True)
class StoredTrial:
    """A trial as kept; `recordings` are (id of the kept recording, file name) in the order given.

    `trial_id` is the address it was asked for by, `inner_id` its name in the database, for which nobody can ask; `private`: by
    this address only its owners may come in; `carried_utc`: when it was brought here as a file, None where it was made here.
    """

    trial_id: str
    inner_id: str
    private: bool
    recordings: tuple[tuple[str, str], ...]
    setup: Setup
    created_utc: str
    setup_version: int
    blocks_first: bool = False
    carried_utc: str | None = None

    @property
    def deltas_hidden(self) -> bool:
        """Whether nobody may see a delta yet: the owner chose to freeze the blocks first and has not done so."""
        return self.blocks_first and self.setup.frozen_hash is None


@dataclass(frozen=True, kw_only=True)
class SetupVersion:
    """One version of a trial's set-up and when it was made."""

    version: int
    created_utc: str
    setup: Setup


def stored_trials(connection: Connection, asked: Mapping[str, tuple[str, bool]]) -> list[StoredTrial]:
    """The trials of these names, newest first; `asked` gives for each the address and whether it is the private one."""
    t, s, r = db.trials.c, db.setups.c, db.recordings.c
    current = (s.trial_id == t.trial_id) & (s.version == t.setup_version)
    first = db.blocks_first.c.trial_id
    query = select(t.trial_id, t.created_utc, t.carried_utc, t.setup_version, s.setup_json)
    query = query.add_columns(first.is_not(None).label("blocks_first"))
    query = query.join_from(db.trials, db.setups, current).outerjoin(db.blocks_first, first == t.trial_id)
    trials = connection.execute(query.where(t.trial_id.in_(asked)).order_by(t.created_utc.desc(), t.trial_id)).all()
    order = select(r.trial_id, r.sha256, r.name).where(r.trial_id.in_(asked)).order_by(r.trial_id, r.position)
    rows = connection.execute(order).all()
    return [
        StoredTrial(
            trial_id=asked[trial.trial_id][0],
            inner_id=trial.trial_id,
            private=asked[trial.trial_id][1],
            recordings=tuple((row.sha256, row.name) for row in rows if row.trial_id == trial.trial_id),
            setup=setup_from_dict(json.loads(trial.setup_json)),
            created_utc=trial.created_utc,
            setup_version=trial.setup_version,
            blocks_first=bool(trial.blocks_first),
            carried_utc=trial.carried_utc,
        )
        for trial in trials
    ]


def setup_versions(connection: Connection, trial_id: str) -> list[SetupVersion]:
    """Every version of a trial's set-up, oldest first."""
    s = db.setups.c
    query = select(s.version, s.created_utc, s.setup_json).where(s.trial_id == trial_id).order_by(s.version)
    rows = connection.execute(query).all()
    return [
        SetupVersion(version=r.version, created_utc=r.created_utc, setup=setup_from_dict(json.loads(r.setup_json))) for r in rows
    ]


def add_setup(connection: Connection, trial_id: str, version: int, setup: Setup, now: str) -> None:
    """Write one version of a set-up; which one is current stands with the trial."""
    text = json.dumps(setup.to_dict(), ensure_ascii=False, allow_nan=False)
    row = {"trial_id": trial_id, "version": version, "created_utc": now, "setup_json": text}
    connection.execute(insert(db.setups).values(row))
