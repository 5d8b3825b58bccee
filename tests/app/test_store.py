"""Durable things. Referees: what a power cut or a copy of the disk would show, the pragmas, a second opening."""

from __future__ import annotations

import errno
import gzip
import hashlib
import os
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from pretend import kept, recording
from sqlalchemy import text

from analysis.setup import DeviceSetup, PlanStep, Setup
from app.settings import Settings
from app.store import ChangedMeanwhile, DamagedBlob, FullDisk, MissingBlob, NoSuchTrial, Store, UnusableStore
from app.store import schema as db
from app.store.blobs import Blobs
from app.store.folders import kept_secret

BOTH_DATABASES = True
FULL = Setup(
    title="Kiln test = <b>",
    reference="hub",
    loss_pct=(1.0, 4.5),
    devices=(DeviceSetup(file="a.line", label="hub", point="hub", claim_pct=1.5, firmware="3.10", shift_s=-0.25),),
    plan=(PlanStep(name="hold", duration_s=600.0, target_w=200.0),),
)


def files_in(folder: Path) -> list[Path]:
    return [p for p in folder.rglob("*") if p.is_file()]


@pytest.fixture
def blobs(store, settings) -> Blobs:
    return Blobs(settings.data_dir / "recordings")


def test_a_blob_comes_back_as_it_was_and_is_kept_once(blobs, settings):
    data = os.urandom(100_000)
    assert blobs.put(data) == blobs.put(data) == hashlib.sha256(data).hexdigest()
    assert blobs.get(blobs.put(data)) == data
    assert len(files_in(settings.data_dir / "recordings")) == 1


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_blob_is_whole_or_absent_when_the_disk_fills_up(blobs, settings, monkeypatch, step):
    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(*((os, "fsync") if step == "fsync" else (Path, "replace")), full)
    with pytest.raises(FullDisk, match="disk is full, so nothing was kept"):
        blobs.put(b"half of a ride")
    assert files_in(settings.data_dir / "recordings") == []


def test_a_blob_is_synced_before_it_gets_its_name(blobs, monkeypatch):
    # The order POSIX asks for: data on disk, then the rename, then the folder that holds the name.
    steps = []
    fsync, replace = os.fsync, Path.replace
    monkeypatch.setattr(os, "fsync", lambda fd: (steps.append(stat.S_ISDIR(os.fstat(fd).st_mode)), fsync(fd))[1])
    monkeypatch.setattr(Path, "replace", lambda a, b: (steps.append("rename"), replace(a, b))[1])
    blobs.put(b"ride")
    assert steps[:3] == [False, "rename", True]


@pytest.mark.parametrize("rot", [lambda b: b"power 201", lambda b: gzip.compress(b"power 201"), lambda b: b[:-5], lambda b: b""])
def test_a_recording_that_rotted_on_disk_is_noticed_and_named(store, settings, rot):
    kept_id = kept(store, "power 200")
    (path,) = files_in(settings.data_dir / "recordings")
    path.write_bytes(rot(path.read_bytes()))
    with pytest.raises(DamagedBlob, match=r"hub\.line.*damaged on disk"):
        store.recording(kept_id, "hub.line")


def test_what_an_early_version_kept_is_a_sentence_and_a_line_in_the_log(store, settings, caplog):
    upload = b"the bytes of a file as they came"
    kept_id = hashlib.sha256(upload).hexdigest()
    path = settings.data_dir / "recordings" / kept_id[:2] / kept_id
    path.parent.mkdir()
    path.write_bytes(upload)
    with pytest.raises(MissingBlob, match=r"hub\.line.*early version.*new trial"):
        store.recording(kept_id, "hub.line")
    Store(settings).close()
    assert "early version" in caplog.text
    assert "delete" in caplog.text


def test_the_same_content_under_two_names_is_kept_once(store, settings):
    one, other = (store.put_recording(recording(b"power 200", name)) for name in ("hub.line", "left pedals.line"))
    assert one == other
    assert len(files_in(settings.data_dir / "recordings")) == 1
    assert store.recording(one, "left pedals.line").facts["label_guess"] == "left pedals line"


@pytest.mark.parametrize("name", ["../trials.sqlite3", "/etc/passwd", "", "ab", "A" * 64, "0" * 64 + "/..", "0" * 64])
def test_a_blob_is_found_by_its_hash_and_by_nothing_else(store, name):
    assert not store.has_recording(name)
    with pytest.raises(MissingBlob):
        store.recording(name, "x")


def test_others_can_read_nothing(store, settings):
    kept(store, "power 3")
    for folder in (settings.data_dir, settings.cache_dir, settings.data_dir / "recordings"):
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700, folder


def test_a_folder_that_was_open_to_others_is_closed(tmp_path):
    folder = tmp_path / "wide"
    folder.mkdir(mode=0o755)
    Store(Settings.from_environment(data_dir=folder, environ={})).close()
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_a_file_where_the_data_folder_should_be_is_one_sentence(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(UnusableStore, match="--data-dir"):
        Store(Settings.from_environment(data_dir=tmp_path / "file", environ={}))


def test_a_trial_survives_a_restart_whole(settings):
    first = Store(settings)
    pairs = [(kept(first, "power 1"), "a.line"), (kept(first, "power 2"), "b.line")]
    new = first.create_trial(pairs, FULL)
    first.close()
    again = Store(settings)
    trial = again.trial(new.trial_id)
    assert (trial.recordings, trial.setup, trial.setup_version) == (tuple(pairs), FULL, 1)
    assert again.owner_of(new.trial_id, new.owner_key)
    again.close()


def test_a_trial_of_something_never_uploaded_is_refused_and_leaves_nothing(store):
    with pytest.raises(MissingBlob):
        store.create_trial([(kept(store, "power 1"), "a"), ("0" * 64, "b")], Setup())
    assert store.find_trial([(kept(store, "power 1"), "a"), ("0" * 64, "b")], Setup()) is None


def test_every_set_up_is_kept_and_the_last_one_counts(bench):
    trial_id = bench.trial()
    assert bench.store.change_setup(trial_id, FULL) == 2
    assert bench.store.trial(trial_id).setup == FULL
    with bench.store._database.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM trial_setup").scalar() == 2


def test_of_two_owners_changing_at_once_the_later_sees_it(bench):
    trial_id = bench.trial()
    bench.store.change_setup(trial_id, FULL, seen_version=1)
    with pytest.raises(ChangedMeanwhile):
        bench.store.change_setup(trial_id, Setup(title="late"), seen_version=1)
    assert bench.store.trial(trial_id).setup == FULL


def test_changing_a_trial_that_does_not_exist_says_so(store):
    with pytest.raises(NoSuchTrial):
        store.change_setup("n" * 32, Setup())
    with pytest.raises(NoSuchTrial):
        store.new_owner_key("n" * 32)


@pytest.mark.sqlite
def test_a_copy_of_the_disk_holds_no_owner_key(settings):
    store = Store(settings)
    new = store.create_trial([(kept(store, "power 1"), "a"), (kept(store, "power 2"), "b")], Setup())
    later = store.new_owner_key(new.trial_id)
    store.close()
    disk = b"".join(p.read_bytes() for p in files_in(settings.data_dir))
    assert new.trial_id.encode() in disk
    assert new.owner_key.encode() not in disk
    assert later.encode() not in disk


def test_only_a_trials_own_keys_open_it(store):
    pairs = [(kept(store, "power 1"), "a"), (kept(store, "power 2"), "b")]
    one, other = store.create_trial(pairs, Setup()), store.create_trial(pairs, Setup())
    later = store.new_owner_key(one.trial_id)
    assert store.owner_of(one.trial_id, one.owner_key)
    assert store.owner_of(one.trial_id, later)
    for key in (other.owner_key, "", one.owner_key[:-1], one.owner_key + "x", one.trial_id):
        assert not store.owner_of(one.trial_id, key)


def test_addresses_and_keys_carry_at_least_128_bit(store):
    pairs = [(kept(store, "power 1"), "a"), (kept(store, "power 2"), "b")]
    made = [store.create_trial(pairs, Setup()) for _ in range(50)]
    texts = [m.trial_id for m in made] + [m.owner_key for m in made]
    assert len(set(texts)) == 100
    assert all(6 * len(text) >= 128 for text in texts)  # URL-safe base64: 6 bit a character
    # random in every place: no character position is the same for all
    assert all(len({text[i] for text in texts}) > 5 for i in range(22))


def test_the_same_trial_is_found_again_and_a_changed_one_is_not(bench):
    trial_id = bench.trial()
    trial = bench.store.trial(trial_id)
    assert bench.store.find_trial(trial.recordings, Setup()) == trial_id
    bench.store.change_setup(trial_id, FULL)
    assert bench.store.find_trial(trial.recordings, Setup()) is None
    assert bench.store.find_trial(trial.recordings[::-1], FULL) is None


@pytest.mark.sqlite
def test_sqlite_is_told_to_be_durable_and_strict(store):
    with store._database.reading() as connection:
        found = {name: connection.execute(text(f"PRAGMA {name}")).scalar() for name in ("journal_mode", "foreign_keys")}
        assert found == {"journal_mode": "wal", "foreign_keys": 1}
        assert connection.execute(text("PRAGMA synchronous")).scalar() == 2  # FULL


@pytest.mark.sqlite
def test_a_database_of_a_newer_program_is_left_alone(settings):
    Store(settings).close()
    with sqlite3.connect(settings.data_dir / "trials.sqlite3") as connection:
        connection.execute("UPDATE schema_version SET version = ?", (db.SCHEMA_VERSION + 1,))
    with pytest.raises(UnusableStore, match="newer countercheck"):
        Store(settings)


@pytest.mark.sqlite
def test_a_file_that_is_no_database_is_one_sentence(settings):
    settings.data_dir.mkdir(parents=True)
    (settings.data_dir / "trials.sqlite3").write_bytes(b"this is no database " * 100)
    with pytest.raises(UnusableStore, match="cannot be used"):
        Store(settings)


def test_workers_that_start_together_share_one_fresh_store(settings):
    code = (
        "import sys; from app.settings import Settings; from app.store import Store; "
        "from app.store.folders import kept_secret; from analysis.setup import Setup; from pretend import kept\n"
        "s = Settings.from_environment(data_dir=sys.argv[1]); store = Store(s)\n"
        "t = store.create_trial([(kept(store, 'power 1'), 'a'), (kept(store, 'power 2'), 'b')], Setup())\n"
        "print(t.trial_id, kept_secret(s.data_dir))"
    )
    command = [sys.executable, "-c", code, str(settings.data_dir)]
    paths = os.pathsep.join([str(Path(__file__).parent), os.environ.get("PYTHONPATH", "")])
    env = os.environ | {"PYTHONPATH": paths, "COUNTERCHECK_DATABASE_URL": settings.database_url or ""}
    workers = [subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env) for _ in range(3)]
    told = [worker.communicate(timeout=60) for worker in workers]
    assert [worker.returncode for worker in workers] == [0, 0, 0], told
    lines = [out.split() for out, _ in told]
    assert len({secret for _, secret in lines}) == 1
    store = Store(settings)
    assert len(store.trials_of(trial_id for trial_id, _ in lines)) == 3
    store.close()


def test_the_secret_stays_the_same_and_private(tmp_path):
    first = kept_secret(tmp_path)
    assert kept_secret(tmp_path) == first
    assert 6 * len(first) >= 128
    assert stat.S_IMODE((tmp_path / "secret").stat().st_mode) == 0o600
    assert [p.name for p in tmp_path.iterdir()] == ["secret"]
