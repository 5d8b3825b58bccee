"""One door to everything that is kept: trials in the database, recordings as blobs, results that may vanish."""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import URL, Connection, insert, select, update

from analysis.errors import UnreadableFile
from analysis.reading.packed import pack, unpack
from analysis.reading.recording import Recording
from analysis.setup import Setup, setup_from_dict
from app.settings import Settings
from app.store import schema as db
from app.store.blobs import Blobs
from app.store.carried import CarriedNote, add_note, notes_of
from app.store.database import Database
from app.store.folders import own_folder
from app.store.plans import Plans
from app.store.problems import ChangedMeanwhile, DamagedBlob, MissingBlob, NoSuchTrial, StoreProblem
from app.store.results import Results
from app.store.sweeping import Swept, sweep_unreferenced

# Random bytes behind a reader's address and an owner's key: 192 and 256 bit, above the 128 that design.md asks for.
ID_BYTES = 24
KEY_BYTES = 32


@dataclass(frozen=True, kw_only=True)
class NewTrial:
    """Told once: the key is not kept in the clear anywhere."""

    trial_id: str
    owner_key: str


@dataclass(frozen=True, kw_only=True)
class StoredTrial:
    """A trial as kept; `recordings` are (id of the kept recording, file name) in the order given."""

    trial_id: str
    recordings: tuple[tuple[str, str], ...]
    setup: Setup
    created_utc: str
    setup_version: int
    blocks_first: bool = False

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


class Store:
    """Durable: trials and recordings. Evictable: `results`. Safe to share between threads and processes."""

    def __init__(self, settings: Settings) -> None:
        folder = own_folder(settings.data_dir)
        url = settings.database_url or URL.create("sqlite", database=str(folder / "trials.sqlite3"))
        self._database = Database(url)
        self._blobs = Blobs(folder / "recordings")
        self.plans = Plans(self._database)
        self.results = Results(settings.cache_dir, size_bytes=settings.cache_bytes)

    def put_recording(self, recording: Recording) -> str:
        """Keep a recording as it was read, for good; returns its id, the SHA-256 of what is kept.

        The same content gives the same id, whatever the file was called. Raises TypeError where it holds no plain numbers.
        """
        return self._blobs.put(pack(recording))

    def recording(self, recording_id: str, name: str) -> Recording:
        """A kept recording under this name. Raises MissingBlob or DamagedBlob, naming it."""
        try:
            return unpack(self.kept_bytes(recording_id, name), name=name)
        except UnreadableFile as problem:
            raise DamagedBlob(str(problem)) from None

    def has_recording(self, recording_id: object) -> bool:
        return recording_id in self._blobs

    def create_trial(self, recordings: Sequence[tuple[str, str]], setup: Setup, *, blocks_first: bool = False) -> NewTrial:
        """Keep a trial of (id, name) pairs; with `blocks_first` nobody sees a delta of it before its blocks are frozen.

        Raises MissingBlob when one of the recordings was never uploaded.
        """
        return self._make(recordings, [(_now(), setup)], blocks_first=blocks_first)

    def take_in_trial(
        self,
        recordings: Sequence[tuple[str, str]],
        versions: Sequence[tuple[str, Setup]],
        *,
        blocks_first: bool,
        notes: Sequence[CarriedNote],
    ) -> NewTrial:
        """Keep a trial from another server under links and keys of its own; `versions` are (UTC, set-up), oldest first.

        Raises MissingBlob when one of the recordings was never put.
        """
        return self._make(recordings, versions, blocks_first=blocks_first, notes=notes, carried_utc=_now())

    def notes_to_carry(self, trial_id: str) -> list[CarriedNote]:
        """A trial's notes as they are taken along, oldest first."""
        return notes_of(self._database, trial_id)

    def kept_bytes(self, recording_id: str, name: str) -> bytes:
        """A recording's bytes as they are kept. Raises MissingBlob or DamagedBlob, naming it."""
        try:
            return self._blobs.get(recording_id)
        except StoreProblem as problem:
            raise type(problem)(f"{name}: {problem}") from None

    def _make(
        self,
        recordings: Sequence[tuple[str, str]],
        versions: Sequence[tuple[str, Setup]],
        *,
        blocks_first: bool = False,
        notes: Sequence[CarriedNote] = (),
        carried_utc: str | None = None,
    ) -> NewTrial:
        for sha256, _ in recordings:
            self._blobs.get(sha256)
        new = NewTrial(trial_id=secrets.token_urlsafe(ID_BYTES), owner_key=secrets.token_urlsafe(KEY_BYTES))
        now, private = _now(), secrets.token_urlsafe(ID_BYTES)
        row = {"trial_id": new.trial_id, "created_utc": now, "setup_version": len(versions), "private_address": private}
        with self._database.writing() as connection:
            connection.execute(insert(db.trials).values(row | {"carried_utc": carried_utc}))
            connection.execute(insert(db.reader_links).values(token=new.trial_id, trial_id=new.trial_id, created_utc=now))
            rows = [
                {"trial_id": new.trial_id, "position": i, "sha256": sha256, "name": name}
                for i, (sha256, name) in enumerate(recordings)
            ]
            connection.execute(insert(db.recordings), rows)
            self._check_there(sha256 for sha256, _ in recordings)
            for number, (utc, setup) in enumerate(versions, start=1):
                _add_setup(connection, new.trial_id, number, setup, utc)
            for note in notes:
                add_note(connection, new.trial_id, note)
            _add_key(connection, new.trial_id, new.owner_key, now)
            if blocks_first:
                connection.execute(insert(db.blocks_first).values(trial_id=new.trial_id, created_utc=now))
        return new

    def trial(self, trial_id: str) -> StoredTrial | None:
        """The trial under this id, or None."""
        found = self.trials_of([trial_id])
        return found[0] if found else None

    def trials_of(self, trial_ids: Iterable[str]) -> list[StoredTrial]:
        """Those of the trials that exist, newest first."""
        ids = list(trial_ids)
        t, s, r = db.trials.c, db.setups.c, db.recordings.c
        current = (s.trial_id == t.trial_id) & (s.version == t.setup_version)
        first = db.blocks_first.c.trial_id
        query = select(t.trial_id, t.created_utc, t.setup_version, s.setup_json, first.is_not(None).label("blocks_first"))
        query = query.join_from(db.trials, db.setups, current).outerjoin(db.blocks_first, first == t.trial_id)
        query = query.where(t.trial_id.in_(ids))
        with self._database.reading() as connection:
            trials = connection.execute(query.order_by(t.created_utc.desc(), t.trial_id)).all()
            order = select(r.trial_id, r.sha256, r.name).where(r.trial_id.in_(ids)).order_by(r.trial_id, r.position)
            rows = connection.execute(order).all()
        return [
            StoredTrial(
                trial_id=trial.trial_id,
                recordings=tuple((row.sha256, row.name) for row in rows if row.trial_id == trial.trial_id),
                setup=setup_from_dict(json.loads(trial.setup_json)),
                created_utc=trial.created_utc,
                setup_version=trial.setup_version,
                blocks_first=bool(trial.blocks_first),
            )
            for trial in trials
        ]

    def find_trial(self, recordings: Sequence[tuple[str, str]], setup: Setup) -> str | None:
        """The oldest trial of exactly these recordings and this set-up whose deltas are no secret; None where there is none."""
        first = select(db.recordings.c.trial_id).where(db.recordings.c.sha256 == recordings[0][0])
        with self._database.reading() as connection:
            ids = connection.execute(first).scalars().all()
        same = [t for t in self.trials_of(ids) if t.recordings == tuple(recordings) and t.setup == setup and not t.deltas_hidden]
        return same[-1].trial_id if same else None

    def change_setup(self, trial_id: str, setup: Setup, *, seen_version: int | None = None) -> int:
        """Put a new version of the set-up on top of the old ones; returns its number.

        Raises
        ------
        NoSuchTrial
        ChangedMeanwhile
            `seen_version` was given and is no longer the current one.
        """
        t = db.trials.c
        with self._database.writing() as connection:
            current = connection.execute(select(t.setup_version).where(t.trial_id == trial_id)).scalar()
            if current is None:
                raise NoSuchTrial("There is no trial at this address; check that the link is complete.")
            seen = current if seen_version is None else seen_version
            step = update(db.trials).where(t.trial_id == trial_id, t.setup_version == seen)
            if connection.execute(step.values(setup_version=seen + 1)).rowcount != 1:
                raise ChangedMeanwhile("Somebody else changed this trial meanwhile; reload the page and try again.")
            _add_setup(connection, trial_id, seen + 1, setup, _now())
        return seen + 1

    def history(self, trial_id: str) -> list[SetupVersion]:
        """Every version of a trial's set-up, oldest first; empty for a trial that does not exist."""
        s = db.setups.c
        query = select(s.version, s.created_utc, s.setup_json).where(s.trial_id == trial_id).order_by(s.version)
        with self._database.reading() as connection:
            rows = connection.execute(query).all()
        return [
            SetupVersion(version=r.version, created_utc=r.created_utc, setup=setup_from_dict(json.loads(r.setup_json)))
            for r in rows
        ]

    def new_owner_key(self, trial_id: str) -> str:
        """A further owner key for a trial, told once. Raises NoSuchTrial."""
        key = secrets.token_urlsafe(KEY_BYTES)
        if self.trial(trial_id) is None:
            raise NoSuchTrial("There is no trial at this address; check that the link is complete.")
        with self._database.writing() as connection:
            _add_key(connection, trial_id, key, _now())
        return key

    def owner_of(self, trial_id: str, owner_key: str) -> bool:
        """Whether the key is one of the trial's; the comparison's time tells nothing of how close it was."""
        k = db.owner_keys.c
        with self._database.reading() as connection:
            known = connection.execute(select(k.key_sha256).where(k.trial_id == trial_id)).scalars().all()
        given = _key_hash(owner_key)
        return any([hmac.compare_digest(given, one) for one in known])

    def sweep(self, *, among: Iterable[str] | None = None, put_before_s: float | None = None) -> Swept:
        """Delete recordings that belong to no trial; `sweeping.sweep_unreferenced` says which stay."""
        return sweep_unreferenced(self._database, self._blobs, among=among, put_before_s=put_before_s)

    def _check_there(self, recording_ids: Iterable[str]) -> None:
        """Raises MissingBlob. Asked after the rows are written: from then on a sweep leaves these blobs alone."""
        for sha256 in recording_ids:
            if sha256 not in self._blobs:
                raise MissingBlob(f"No recording is stored under {sha256[:12]}...; upload the file again.")

    def close(self) -> None:
        self.results.close()
        self._database.close()


def _add_setup(connection: Connection, trial_id: str, version: int, setup: Setup, now: str) -> None:
    text = json.dumps(setup.to_dict(), ensure_ascii=False, allow_nan=False)
    row = {"trial_id": trial_id, "version": version, "created_utc": now, "setup_json": text}
    connection.execute(insert(db.setups).values(row))


def _add_key(connection: Connection, trial_id: str, owner_key: str, now: str) -> None:
    row = {"trial_id": trial_id, "key_sha256": _key_hash(owner_key), "created_utc": now}
    connection.execute(insert(db.owner_keys).values(row))


def _key_hash(owner_key: str) -> str:
    """Plain SHA-256 is enough: the key is random over 256 bit, there is nothing to guess or to salt."""
    return hashlib.sha256(owner_key.encode()).hexdigest()


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")
