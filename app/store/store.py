"""One door to everything that is kept: trials in the database, recordings as blobs, results that may vanish."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from sqlalchemy import URL, Connection, delete, insert, select, update

from analysis.errors import UnreadableFile
from analysis.reading.packed import pack, unpack
from analysis.reading.recording import Recording
from analysis.setup import Setup
from app.settings import Settings
from app.store import schema as db
from app.store.addresses import addresses_of, alive, new_address, new_key, now_utc, resolve, resolved
from app.store.blobs import Blobs
from app.store.carried import CarriedNote, add_note, notes_of
from app.store.copying import database_path, snapshot
from app.store.database import Database
from app.store.dossiers import Dossiers
from app.store.folders import own_folder
from app.store.forgotten import Forgotten, Openings, delete_forgotten, forgotten_since
from app.store.links import Links, add_key, add_reader
from app.store.notes import Notes
from app.store.plans import Plans
from app.store.problems import ChangedMeanwhile, DamagedBlob, MissingBlob, NoSuchTrial, StoreProblem
from app.store.results import Results
from app.store.sweeping import Swept, sweep_unreferenced
from app.store.trials import NewTrial, SetupVersion, StoredTrial, add_setup, setup_versions, stored_trials


class Store:
    """Durable: trials and recordings. Evictable: `results`. Safe to share between threads and processes.

    Trials are asked for by address: the token of a reader link that lives, or the private address, for which the caller must
    see to it that an owner asks (`access.stored_trial`).
    """

    def __init__(self, settings: Settings) -> None:
        folder = own_folder(settings.data_dir)
        url = settings.database_url or URL.create("sqlite", database=str(database_path(folder)))
        self._database = Database(url)
        self._blobs = Blobs(folder / "recordings")
        self.plans = Plans(self._database)
        self.dossiers = Dossiers(self._database)
        self.links = Links(self._database)
        self.notes = Notes(self._database)
        self.openings = Openings(self._database)
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
        return self._make(recordings, [(now_utc(), setup)], blocks_first=blocks_first)

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
        return self._make(recordings, versions, blocks_first=blocks_first, notes=notes, carried_utc=now_utc())

    def notes_to_carry(self, address: str) -> list[CarriedNote]:
        """A trial's notes as they are taken along, oldest first."""
        with self._database.reading() as connection:
            found = resolve(connection, address)
            return notes_of(connection, found.inner_id) if found else []

    def kept_bytes(self, recording_id: str, name: str) -> bytes:
        """A recording's bytes as they are kept. Raises MissingBlob or DamagedBlob, naming it."""
        try:
            return self._blobs.get(recording_id)
        except StoreProblem as problem:
            raise type(problem)(f"{name}: {problem}") from None

    def trial(self, address: str) -> StoredTrial | None:
        """The trial this address leads to, or None."""
        with self._database.reading() as connection:
            found = resolve(connection, address)
            stored = stored_trials(connection, {found.inner_id: (address, found.private)}) if found else []
        return stored[0] if stored else None

    def open_to_readers(self, addresses: Iterable[str]) -> set[str]:
        """Those of the addresses under which readers find a trial."""
        link = db.reader_links.c
        query = select(link.token).where(link.token.in_(list(addresses)), alive(db.reader_links, now_utc()))
        with self._database.reading() as connection:
            return set(connection.execute(query).scalars())

    def trials_of(self, addresses: Iterable[str]) -> list[StoredTrial]:
        """Those of the trials that exist, newest first."""
        with self._database.reading() as connection:
            found = {f.inner_id: (address, f.private) for address in addresses if (f := resolve(connection, address))}
            return stored_trials(connection, found)

    def owned_trials(self, owner_keys: Iterable[str]) -> list[StoredTrial]:
        """The trials that these keys may change, newest first, each by the address its owners are led to."""
        with self._database.reading() as connection:
            return self._by_current_address(connection, self.links.held_by(connection, owner_keys))

    def find_trial(self, recordings: Sequence[tuple[str, str]], setup: Setup) -> str | None:
        """Address of the oldest trial of exactly these recordings and this set-up that anybody may see, deltas and all."""
        first = select(db.recordings.c.trial_id).where(db.recordings.c.sha256 == recordings[0][0])
        with self._database.reading() as connection:
            found = self._by_current_address(connection, connection.execute(first).scalars())
        open_ones = [t for t in found if not t.private and not t.deltas_hidden]
        same = [t for t in open_ones if t.recordings == tuple(recordings) and t.setup == setup]
        return same[-1].trial_id if same else None

    def change_setup(self, address: str, setup: Setup, *, seen_version: int | None = None) -> int:
        """Put a new version of the set-up on top of the old ones; returns its number.

        Raises
        ------
        NoSuchTrial
        ChangedMeanwhile
            `seen_version` was given and is no longer the current one.
        """
        t = db.trials.c
        with self._database.writing() as connection:
            trial_id = resolved(connection, address)
            current = connection.execute(select(t.setup_version).where(t.trial_id == trial_id)).scalar()
            seen = current if seen_version is None else seen_version
            step = update(db.trials).where(t.trial_id == trial_id, t.setup_version == seen)
            if connection.execute(step.values(setup_version=seen + 1)).rowcount != 1:
                raise ChangedMeanwhile("Somebody else changed this trial meanwhile; reload the page and try again.")
            add_setup(connection, trial_id, seen + 1, setup, now_utc())
        return seen + 1

    def delete_trial(self, address: str, *, seen_version: int) -> None:
        """Delete a trial with its set-ups, links, notes and keys, then its recordings where no other trial or upload needs them.

        The rows go first, in one transaction: whatever stops the rest leaves recordings that the next sweep finds.

        Raises
        ------
        NoSuchTrial
        ChangedMeanwhile
            `seen_version` of the set-up is no longer the current one.
        """
        stored = self.trial(address)
        if stored is None:
            raise NoSuchTrial()
        t = db.trials.c
        with self._database.writing() as connection:
            gone = delete(db.trials).where(t.trial_id == stored.inner_id, t.setup_version == seen_version)
            if connection.execute(gone).rowcount != 1:
                raise ChangedMeanwhile("Somebody else changed this trial meanwhile; reload the page and look again.")
        made_s = datetime.fromisoformat(stored.created_utc).timestamp() + 0.001  # kept to the millisecond, rounded down
        self.sweep(among={sha256 for sha256, _ in stored.recordings}, put_before_s=made_s)

    def is_there(self, inner_id: str) -> bool:
        """Whether a trial of this name in the database is (still) there."""
        with self._database.reading() as connection:
            return connection.execute(select(db.trials.c.trial_id).where(db.trials.c.trial_id == inner_id)).scalar() is not None

    def history(self, address: str) -> list[SetupVersion]:
        """Every version of a trial's set-up, oldest first; empty for a trial that does not exist."""
        with self._database.reading() as connection:
            found = resolve(connection, address)
            return setup_versions(connection, found.inner_id) if found else []

    def new_owner_key(self, address: str) -> str:
        """A further owner key for a trial, told once. Raises NoSuchTrial."""
        return self.links.new_owner(address)

    def owner_of(self, address: str, owner_key: str) -> bool:
        """Whether the key is one of the trial's; the comparison's time tells nothing of how close it was."""
        return self.links.owned(address, [owner_key])

    def sweep(self, *, among: Iterable[str] | None = None, put_before_s: float | None = None) -> Swept:
        """Delete recordings that belong to no trial; `sweeping.sweep_unreferenced` says which stay."""
        return sweep_unreferenced(self._database, self._blobs, among=among, put_before_s=put_before_s)

    def forgotten(self, before_utc: str) -> list[tuple[Forgotten, StoredTrial]]:
        """Trials neither made nor opened nor changed nor written on since this time (ISO 8601), longest forgotten first."""
        with self._database.reading() as connection:
            found = forgotten_since(connection, before_utc)
            known = {one.inner_id: one for one in stored_trials(connection, {f.inner_id: (f.inner_id, True) for f in found})}
        return [(one, known[one.inner_id]) for one in found]

    def purge(self, one: Forgotten, trial: StoredTrial, before_utc: str) -> Swept | None:
        """Delete a forgotten trial and its recordings where nothing else needs them; None where it is needed again meanwhile."""
        gone = delete_forgotten(self._database, one, before_utc)
        return self.sweep(among=[sha256 for sha256, _ in trial.recordings]) if gone else None

    def snapshot(self) -> bytes:
        """The database of one moment, as bytes of an SQLite file, whichever database it is."""
        return snapshot(self._database)

    def close(self) -> None:
        self.results.close()
        self._database.close()

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
        new, inner, now = NewTrial(trial_id=new_address(), owner_key=new_key()), new_address(), now_utc()
        row = {"trial_id": inner, "created_utc": now, "setup_version": len(versions), "private_address": new_address()}
        with self._database.writing() as connection:
            connection.execute(insert(db.trials).values(row | {"carried_utc": carried_utc}))
            add_reader(connection, inner, new.trial_id)
            rows = [
                {"trial_id": inner, "position": i, "sha256": sha256, "name": name} for i, (sha256, name) in enumerate(recordings)
            ]
            connection.execute(insert(db.recordings), rows)
            self._check_there(sha256 for sha256, _ in recordings)
            for number, (utc, setup) in enumerate(versions, start=1):
                add_setup(connection, inner, number, setup, utc)
            for note in notes:
                add_note(connection, inner, note)
            add_key(connection, inner, new.owner_key)
            if blocks_first:
                connection.execute(insert(db.blocks_first).values(trial_id=inner, created_utc=now))
        return new

    def _check_there(self, recording_ids: Iterable[str]) -> None:
        """Raises MissingBlob. Asked after the rows are written: from then on a sweep leaves these blobs alone."""
        for sha256 in recording_ids:
            if sha256 not in self._blobs:
                raise MissingBlob(f"No recording is stored under {sha256[:12]}...; upload the file again.")

    def _by_current_address(self, connection: Connection, trial_ids: Iterable[str]) -> list[StoredTrial]:
        found = addresses_of(connection, trial_ids)
        return stored_trials(connection, {name: (at.address, at.private) for name, at in found.items()})
