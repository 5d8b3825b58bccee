"""What no trial needs goes, what one needs stays. Referees: the files in the folder, and real processes at the same time."""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from pretend import kept, recording

from analysis.reading.packed import pack
from analysis.setup import Setup
from app.store import MissingBlob, Store
from app.store.blobs import GOING
from app.store.folders import HALF_WRITTEN_S
from app.store.sweeping import UPLOAD_WAITS_S, Swept

BOTH_DATABASES = True
LATER = UPLOAD_WAITS_S + 60.0


def blob(settings, kept_id: str) -> Path:
    return settings.data_dir / "recordings" / kept_id[:2] / f"{kept_id}.gz"


def aged(path: Path, by_s: float = LATER) -> Path:
    os.utime(path, (time.time() - by_s, time.time() - by_s))
    return path


def test_recordings_of_a_trial_stay_and_forgotten_uploads_go_after_a_day(store, settings):
    ids = [kept(store, f"power {i}") for i in range(4)]
    store.create_trial([(ids[0], "a"), (ids[1], "b")], Setup())
    for one in ids[:3]:
        aged(blob(settings, one))
    size = blob(settings, ids[2]).stat().st_size
    assert store.sweep() == Swept(blobs=1, n_bytes=size)
    assert [store.has_recording(one) for one in ids] == [True, True, False, True]


def test_only_those_asked_for_are_looked_at(store, settings):
    ids = [kept(store, f"power {i}") for i in range(3)]
    for one in ids:
        aged(blob(settings, one))
    store.sweep(among=ids[:1])
    assert [store.has_recording(one) for one in ids] == [False, True, True]


def test_a_trials_own_recordings_can_go_at_once_and_one_uploaded_since_then_stays(store, settings):
    ids = [kept(store, f"power {i}") for i in range(2)]
    made_s = time.time()
    aged(blob(settings, ids[0]), 5.0)
    os.utime(blob(settings, ids[1]), (made_s + 5, made_s + 5))
    store.sweep(among=ids, put_before_s=made_s)
    assert [store.has_recording(one) for one in ids] == [False, True]


def test_uploading_again_makes_an_old_blob_wait_another_day(store, settings):
    kept_id = kept(store, "power 1")
    aged(blob(settings, kept_id))
    kept(store, "power 1")
    assert store.sweep() == Swept()
    assert store.has_recording(kept_id)


def test_a_blob_put_again_while_it_is_set_aside_comes_back(store, settings, monkeypatch):
    kept_id = kept(store, "power 1")
    path, real = aged(blob(settings, kept_id)), Path.replace

    def late(self, target):
        out = real(self, target)
        if Path(target).name.startswith(GOING):  # the upload looked before the sweep, and touches what it saw
            os.utime(target)
        return out

    monkeypatch.setattr(Path, "replace", late)
    assert store.sweep() == Swept()
    assert path.is_file()
    assert store.recording(kept_id, "a.line").samples["power_w"].iloc[0] == 1.0


def test_what_a_killed_process_left_is_cleared_and_present_work_is_not(store, settings):
    folder = settings.data_dir / "recordings" / "ab"
    folder.mkdir()
    (folder / ".half-old").write_bytes(b"x")
    (folder / ".half-new").write_bytes(b"x")
    aged(folder / ".half-old", HALF_WRITTEN_S + 60)
    gone, wanted = (64 * digit for digit in "12")
    for one in (gone, wanted):
        (folder / f"{GOING}{one}.gz").write_bytes(b"x")
    aged(folder / f"{GOING}{gone}.gz")
    store.sweep()
    assert sorted(p.name for p in folder.iterdir()) == sorted([".half-new", f"{wanted}.gz"])


def test_a_trial_whose_recording_goes_at_the_last_moment_is_not_made(store, settings, monkeypatch):
    ids = [kept(store, f"power {i}") for i in range(2)]
    seen = store._blobs.get

    def then_gone(sha256):
        data = seen(sha256)
        blob(settings, sha256).unlink()
        return data

    monkeypatch.setattr(store._blobs, "get", then_gone)
    with pytest.raises(MissingBlob, match="upload the file again"):
        store.create_trial([(ids[0], "a"), (ids[1], "b")], Setup())
    assert store.find_trial([(ids[0], "a"), (ids[1], "b")], Setup()) is None


def test_damaged_on_disk_and_uploaded_again_it_is_sound_again(store, settings):
    kept_id = kept(store, "power 7")
    blob(settings, kept_id).write_bytes(b"rot")
    assert kept(store, "power 7") == kept_id
    assert store.recording(kept_id, "a.line").samples["power_w"].iloc[0] == 7.0


SWEEPER = (
    "import sys, time; from random import Random; from app.settings import Settings; from app.store import Store\n"
    "store, dice = Store(Settings.from_environment(data_dir=sys.argv[1])), Random(1); print('up', flush=True)\n"
    "while True: store.sweep(put_before_s=2e10); time.sleep(dice.uniform(0.0, 0.05))"
)


def test_sweeps_of_another_process_never_take_a_recording_from_a_trial(settings):
    """Everything unreferenced is swept at once, twenty times a second: harsher than any use, and yet with pauses in
    which a trial can be made, however fast the sweeper's core is."""
    store = Store(settings)
    env = os.environ | {"COUNTERCHECK_DATABASE_URL": settings.database_url or ""}
    sweeper = subprocess.Popen([sys.executable, "-c", SWEEPER, str(settings.data_dir)], stdout=subprocess.PIPE, env=env)
    sweeper.stdout.readline()
    made, refused, lock = [], [], threading.Lock()

    end = time.monotonic() + 60.0  # only ends a test in which no trial is ever made

    def upload_and_make(n: int) -> None:
        for i in itertools.count():
            if i >= 15 and (len(made) >= 5 or time.monotonic() > end):
                return
            pairs = [(store._blobs.put(pack(recording(f"power {10 * (i % 3) + j}".encode(), "x"))), f"{j}") for j in (0, 1)]
            try:
                new = store.create_trial(pairs, Setup(title=f"{n} {i}"))
            except MissingBlob as problem:  # a sentence, and nothing half made
                with lock:
                    refused.append(str(problem))
            else:
                with lock:
                    made.append((new.trial_id, pairs))

    threads = [threading.Thread(target=upload_and_make, args=(n,)) for n in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    sweeper.kill()
    sweeper.wait()
    assert len(made) >= 5, f"the sweeper was nearly always faster ({len(refused)} refused); the test says nothing"
    for trial_id, pairs in made:
        assert store.trial(trial_id).recordings == tuple(pairs)
        for sha256, name in pairs:
            store.recording(sha256, name)
    store.close()
