"""Backup, restore, purge. Referees: trials and files of the first folder, a second process that goes on writing, checksums."""

from __future__ import annotations

import json
import os
import sqlite3
import stat
import subprocess
import sys
import time
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest
from asking import make, settled
from pretend import kept
from test_store import FULL, files_in

from analysis.errors import NotOneRide
from analysis.setup import Setup
from app import cli, showing
from app.dossiers.changing import new_dossier
from app.settings import Settings
from app.store import Store
from app.store.sweeping import UPLOAD_WAITS_S

LONG_AGO = "2020-01-01T00:00:00.000+00:00"


def run(command: str, *words: object, data: Path) -> int:
    return cli.main([command, *map(str, words), "--data-dir", str(data)])


def opened(folder: Path) -> Store:
    return Store(Settings.from_environment(data_dir=folder, environ={}))


def trial_in(store: Store, *levels: int):
    return store.create_trial([(kept(store, f"power {level}"), f"{level}.line") for level in levels], Setup())


@pytest.fixture
def full(store, settings):
    """Two trials with a recording in common, one of them changed since, and an upload that belongs to none."""
    one, other = trial_in(store, 200, 210), trial_in(store, 200, 220)
    store.change_setup(one.trial_id, FULL)
    kept(store, "power 999")
    return one, other


@pytest.mark.parametrize("name", ["all.zip", "all"])
def test_what_was_backed_up_comes_back_whole(full, store, settings, tmp_path, name, capsys):
    assert run("backup", tmp_path / name, data=settings.data_dir) == 0
    assert "3 recordings" in capsys.readouterr().out
    assert run("restore", tmp_path / name, data=tmp_path / "back") == 0
    back = opened(tmp_path / "back")
    for new in full:
        was, now = store.trial(new.trial_id), back.trial(new.trial_id)
        assert now == was
        assert back.history(new.trial_id) == store.history(new.trial_id)
        assert back.owner_of(new.trial_id, new.owner_key)
        for pair in now.recordings:
            assert back.recording(*pair).samples.equals(store.recording(*pair).samples)
    back.close()


def test_a_backup_is_its_owners_alone_and_so_is_what_comes_back(full, settings, tmp_path):
    run("backup", tmp_path / "all.zip", data=settings.data_dir)
    run("backup", tmp_path / "all", data=settings.data_dir)
    assert stat.S_IMODE((tmp_path / "all.zip").stat().st_mode) == 0o600
    run("restore", tmp_path / "all.zip", data=tmp_path / "back")
    for folder in (tmp_path / "all", tmp_path / "back"):
        assert stat.S_IMODE(folder.stat().st_mode) == 0o700
        assert {stat.S_IMODE(path.stat().st_mode) for path in files_in(folder)} == {0o600}


WRITER = (
    "import sys; from app.settings import Settings; from app.store import Store; from analysis.setup import Setup\n"
    "from pretend import kept\n"
    "store = Store(Settings.from_environment(data_dir=sys.argv[1], environ={})); n = 0\n"
    "while True:\n"
    "    new = store.create_trial([(kept(store, f'power {2 * n + i}'), f'{i}') for i in (0, 1)], Setup())\n"
    "    store.change_setup(new.trial_id, Setup(title='changed'))\n"
    "    if n % 3 == 2: store.delete_trial(new.trial_id, seen_version=2)\n"
    "    n += 1; print(n, flush=True)\n"
)


def open_whole(store, addresses):
    """Each trial of a backup has all its recordings and all its set-ups."""
    assert addresses
    for address in addresses:
        trial = store.trial(address)
        assert all(store.recording(*pair).channels for pair in trial.recordings)
        assert len(store.history(address)) == trial.setup_version


def test_a_backup_of_a_server_at_work_is_of_one_moment(settings, tmp_path):
    env = os.environ | {"PYTHONPATH": os.pathsep.join([str(Path(__file__).parent), os.environ.get("PYTHONPATH", "")])}
    writer = subprocess.Popen([sys.executable, "-c", WRITER, str(settings.data_dir)], stdout=subprocess.PIPE, env=env)
    writer.stdout.readline()
    for i in range(3):
        assert run("backup", tmp_path / f"{i}.zip", data=settings.data_dir) == 0
    writer.kill()
    writer.wait()
    for i in range(3):
        assert run("restore", tmp_path / f"{i}.zip", data=tmp_path / f"back{i}") == 0
        back = opened(tmp_path / f"back{i}")
        with sqlite3.connect(tmp_path / f"back{i}" / "trials.sqlite3") as connection:
            addresses = [row[0] for row in connection.execute("SELECT token FROM reader_link")]
        open_whole(back, addresses)
        back.close()


def test_nothing_is_ever_written_over(full, settings, tmp_path, capsys):
    (tmp_path / "mine.zip").write_text("precious")
    assert run("backup", tmp_path / "mine.zip", data=settings.data_dir) == 2
    assert (tmp_path / "mine.zip").read_text() == "precious"
    assert run("backup", tmp_path / "all.zip", data=settings.data_dir) == 0
    before = {path: path.read_bytes() for path in files_in(settings.data_dir / "recordings")}
    assert run("restore", tmp_path / "all.zip", data=settings.data_dir) == 2
    assert "not empty" in capsys.readouterr().err
    assert {path: path.read_bytes() for path in files_in(settings.data_dir / "recordings")} == before


def changed(source: Path, target: Path, change) -> Path:
    with zipfile.ZipFile(source) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    change(members)
    with zipfile.ZipFile(target, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return target


def _recording(members) -> str:
    return next(name for name in members if name.startswith("recordings/"))


def _newer(members) -> None:
    members["backup.json"] = json.dumps(json.loads(members["backup.json"]) | {"format_version": 99}).encode()


def _climbing(members) -> None:
    about = json.loads(members["backup.json"])
    about["members"]["../../outside"] = 64 * "0"
    members["backup.json"] = json.dumps(about).encode()
    members["../../outside"] = b"x"


HARM = {
    "a recording changed": (lambda m: m.update({_recording(m): b"rot"}), "checksum differs"),
    "the database changed": (lambda m: m.update({"trials.sqlite3": m["trials.sqlite3"][:-1] + b"x"}), "checksum differs"),
    "a recording gone": (lambda m: m.pop(_recording(m)), "lacks recordings/"),
    "a newer format": (_newer, "newer countercheck"),
    "a name that climbs out": (_climbing, "no part of a backup"),
    "no list": (lambda m: m.pop("backup.json"), "not a backup"),
}


@pytest.mark.parametrize("harm", sorted(HARM))
def test_a_backup_that_is_not_as_it_was_written_puts_nothing_back(full, settings, tmp_path, capsys, harm):
    change, words = HARM[harm]
    run("backup", tmp_path / "all.zip", data=settings.data_dir)
    capsys.readouterr()
    bad = changed(tmp_path / "all.zip", tmp_path / "bad.zip", change)
    assert run("restore", bad, data=tmp_path / "new" / "back") == 2
    told = capsys.readouterr().err
    assert words in told
    assert told.count("\n") == 1
    assert not (tmp_path / "new").exists() or not list((tmp_path / "new").iterdir())


@pytest.mark.parametrize("cut", [0, 10, 1000, -100])
def test_a_file_cut_short_is_one_sentence(full, settings, tmp_path, capsys, cut):
    run("backup", tmp_path / "all.zip", data=settings.data_dir)
    (tmp_path / "cut.zip").write_bytes((tmp_path / "all.zip").read_bytes()[:cut])
    capsys.readouterr()
    assert run("restore", tmp_path / "cut.zip", data=tmp_path / "back") == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert not (tmp_path / "back").exists()


def test_a_recording_that_rotted_is_told_and_costs_no_other(full, store, settings, tmp_path, capsys):
    recording_id = store.trial(full[0].trial_id).recordings[1][0]
    (settings.data_dir / "recordings" / recording_id[:2] / f"{recording_id}.gz").write_bytes(b"rot")
    assert run("backup", tmp_path / "all.zip", data=settings.data_dir) == 1
    assert recording_id[:12] in capsys.readouterr().err
    assert run("restore", tmp_path / "all.zip", data=tmp_path / "back") == 0
    back = opened(tmp_path / "back")
    assert [back.has_recording(sha256) for sha256, _ in store.trial(full[1].trial_id).recordings] == [True, True]
    back.close()


def test_a_full_disk_leaves_no_half_a_backup(full, settings, tmp_path, monkeypatch, capsys):
    def no_room(*_args, **_more):
        raise OSError(28, "No space left on device")

    folder = tmp_path / "out"
    folder.mkdir()
    monkeypatch.setattr(zipfile.ZipFile, "writestr", no_room)
    assert run("backup", folder / "all.zip", data=settings.data_dir) == 2
    assert "no room left" in capsys.readouterr().err
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize("command", ["backup", "purge"])
def test_a_mistyped_data_folder_is_not_made(tmp_path, capsys, command):
    words = (tmp_path / "x.zip",) if command == "backup" else ("--older-than", "1d")
    assert run(command, *words, data=tmp_path / "nowhere") == 2
    assert "There are no trials in" in capsys.readouterr().err
    assert not (tmp_path / "nowhere").exists()


def age(settings, trial_id: str) -> None:
    """As if nothing had happened to the trial since 2020."""
    with sqlite3.connect(settings.data_dir / "trials.sqlite3") as connection:
        inner = connection.execute("SELECT trial_id FROM reader_link WHERE token = ?", (trial_id,)).fetchone()[0]
        connection.execute("UPDATE trial SET created_utc = ?, opened_utc = NULL WHERE trial_id = ?", (LONG_AGO, inner))
        connection.execute("UPDATE trial_setup SET created_utc = ? WHERE trial_id = ?", (LONG_AGO, inner))
    for path in files_in(settings.data_dir / "recordings"):
        os.utime(path, (time.time() - 2 * UPLOAD_WAITS_S,) * 2)


def test_purging_takes_what_nobody_needs_and_nothing_else(full, store, settings, capsys):
    old, young = full
    shared, own = (sha256 for sha256, _ in store.trial(old.trial_id).recordings)
    age(settings, old.trial_id)
    assert run("purge", "--older-than", "365d", "--dry-run", data=settings.data_dir) == 0
    assert "would delete a trial of 2 recordings, last needed 2020-01-01" in capsys.readouterr().out
    assert store.trial(old.trial_id) is not None
    assert run("purge", "--older-than", "365d", data=settings.data_dir) == 0
    assert "1 trials, 2 recordings and 0 dossiers deleted" in capsys.readouterr().out  # its own, and the upload that nobody used
    assert store.trial(old.trial_id) is None
    assert store.trial(young.trial_id) is not None
    assert (store.has_recording(shared), store.has_recording(own)) == (True, False)


def age_dossier(settings, inner_id: str) -> None:
    with sqlite3.connect(settings.data_dir / "trials.sqlite3") as connection:
        connection.execute("UPDATE dossier SET created_utc = ?, opened_utc = NULL WHERE dossier_id = ?", (LONG_AGO, inner_id))
        connection.execute("UPDATE dossier_version SET created_utc = ? WHERE dossier_id = ?", (LONG_AGO, inner_id))


def test_purging_takes_dossiers_that_nobody_opened_or_changed(store, settings, capsys):
    made = [store.dossiers.create(new_dossier(title, "pedals")) for title in ("old", "opened", "changed", "young")]
    old, read, changed, _young = (store.dossiers.of(one.address) for one in made)
    for one in (old, read, changed):
        age_dossier(settings, one.inner_id)
    store.dossiers.openings.note(read.inner_id)
    store.dossiers.change(changed.address, new_dossier("changed again", "pedals"), seen_version=1)
    assert run("purge", "--older-than", "365d", "--dry-run", data=settings.data_dir) == 0
    assert capsys.readouterr().out == "would delete a dossier of one version, last needed 2020-01-01\n"
    ((found, _),) = store.dossiers.forgotten("2024-01-01")
    assert run("purge", "--older-than", "365d", data=settings.data_dir) == 0
    assert "0 trials, 0 recordings and 1 dossiers deleted" in capsys.readouterr().out
    assert [store.dossiers.of(one.address) is None for one in made] == [True, False, False, False]
    assert not store.dossiers.purge(found, "2024-01-01")


def test_a_dossier_that_is_opened_while_others_are_purged_stays(store, settings):
    made = store.dossiers.of(store.dossiers.create(new_dossier("old", "pedals")).address)
    age_dossier(settings, made.inner_id)
    ((found, _),) = store.dossiers.forgotten("2024-01-01")
    store.dossiers.openings.note(made.inner_id)
    assert not store.dossiers.purge(found, "2024-01-01")
    assert store.dossiers.of(made.address) is not None


@pytest.mark.parametrize("event", ["opened", "changed", "opened in between"])
def test_a_trial_that_is_opened_or_changed_stays(full, store, settings, event):
    trial_id = full[1].trial_id
    age(settings, trial_id)
    ((found, trial),) = store.forgotten("2024-01-01")
    if event == "changed":
        store.change_setup(trial_id, FULL)
    else:
        store.openings.note(store.trial(trial_id).inner_id)
    if event == "opened in between":
        assert store.purge(found, trial, "2024-01-01") is None
    else:
        assert store.forgotten("2024-01-01") == []
    assert store.trial(trial_id) is not None


def test_purging_drops_what_was_computed(bench, settings):
    trial_id = bench.trial()
    settled(bench.jobs, trial_id)
    key = bench.jobs.key_of(bench.store.trial(trial_id))
    assert bench.store.results.get(f"result:{key}") is not None
    bench.jobs.forget(bench.store.trial(trial_id))
    assert bench.store.results.get(f"result:{key}") is None


def test_a_page_notes_that_it_was_opened_once_a_day(client, app, services, counter, settings):
    counter.trouble = NotOneRide("These recordings share no ride.")  # a page of few words, but a page
    trial_id = make(client, b"power 200", b"power 210").get_json()["id"]
    settled(services.jobs, trial_id)
    writes, real = [], services.store.openings._database.writing
    services.store.openings._database.writing = lambda: writes.append(1) or real()
    for _ in range(3):
        with app.server.test_request_context(f"/trial/{trial_id}"):
            assert "share no ride" in str(showing.content(trial_id))
    del services.store.openings._database.writing
    assert len(writes) == 1
    with sqlite3.connect(settings.data_dir / "trials.sqlite3") as connection:
        assert connection.execute("SELECT opened_utc FROM trial").fetchone()[0] == datetime.now(UTC).date().isoformat()


def test_purge_wants_a_number_of_days(settings, capsys):
    Store(settings).close()
    for words in ("365", "0d", "-5d", "1y", "999999999d"):
        assert run("purge", f"--older-than={words}", data=settings.data_dir) == 2
        assert "number of days" in capsys.readouterr().err
