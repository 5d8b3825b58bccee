"""A backup of either database goes back into either. Referees: the rows of every table before and after, a real PostgreSQL, a
second process that goes on writing."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from parcels import NOTES
from pretend import kept
from sqlalchemy import select
from test_migrations import KEPT
from test_store import FULL
from test_upkeep import WRITER, open_whole

from analysis.default_design import default_design
from app import cli
from app.backup import back_up, put_back
from app.dossiers.changing import new_dossier
from app.settings import Settings
from app.store import Store
from app.store.carried import add_note
from app.store.copying import TABLES

KINDS = ("sqlite", "postgresql")


@pytest.fixture
def place(tmp_path, cluster):
    """`place(kind, name)`: settings of a fresh data folder with a fresh database of that kind."""

    def made(kind: str, name: str) -> Settings:
        own = Settings.from_environment(data_dir=tmp_path / name, environ={})
        return replace(own, database_url=cluster.url(cluster.new_database()) if kind == "postgresql" else None)

    return made


def run(command: str, path: Path, settings: Settings, monkeypatch) -> int:
    monkeypatch.delenv("COUNTERCHECK_DATABASE_URL", raising=False)
    if settings.database_url:
        monkeypatch.setenv("COUNTERCHECK_DATABASE_URL", settings.database_url)
    return cli.main([command, str(path), "--data-dir", str(settings.data_dir)])


def everything(store: Store) -> dict[str, list]:
    with store._database.reading() as connection:
        return {table.name: sorted(map(repr, connection.execute(select(table)).all())) for table in TABLES}


def lived_in(settings: Settings) -> tuple[Store, list]:
    """A store with a row in every table, and two trials."""
    store = Store(settings)
    pairs = [(kept(store, f"power {level}"), f"{level}.line") for level in (200, 210, 220)]
    one = store.create_trial(pairs[:2], FULL)
    other = store.create_trial(pairs[1:], FULL, blocks_first=True)
    store.change_setup(one.trial_id, replace(FULL, title="Müller's “ride” – 山"))
    store.links.revoke_reader(one.trial_id, store.links.new_reader(one.trial_id, label="club"), seen_version=2)
    with store._database.writing() as connection:
        for note in NOTES:
            add_note(connection, store.trial(one.trial_id).inner_id, note)
    store.plans.create(default_design(250.0))
    dossier = store.dossiers.create(new_dossier("Pedals", "pedals"))
    store.dossiers.links.new_reader(dossier.address, label="press", expires="2199-01-01")
    assert all(everything(store).values())
    return store, [one, other]


@pytest.mark.parametrize("to", KINDS)
@pytest.mark.parametrize("come_from", KINDS)
def test_a_backup_of_either_goes_back_into_either_row_by_row(place, tmp_path, monkeypatch, capsys, come_from, to):
    here, there = place(come_from, "here"), place(to, "there")
    store, trials = lived_in(here)
    assert run("backup", tmp_path / "all.zip", here, monkeypatch) == 0
    assert run("restore", tmp_path / "all.zip", there, monkeypatch) == 0, capsys.readouterr().err
    back = Store(there)
    assert everything(back) == everything(store)
    for new in trials:
        assert back.owner_of(new.trial_id, new.owner_key)
        for pair in back.trial(new.trial_id).recordings:
            assert back.recording(*pair).samples.equals(store.recording(*pair).samples)
    fresh = back.create_trial(back.trial(trials[0].trial_id).recordings, FULL)  # and life goes on there
    assert back.change_setup(fresh.trial_id, replace(FULL, title="x")) == 2
    assert (there.data_dir / "trials.sqlite3").exists() == (to == "sqlite")
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".half")]
    for one in (store, back):
        one.close()


def test_no_table_has_a_key_that_a_database_counts_up(place):
    # else restoring would have to set its sequence, see `app.store.copying`
    store = Store(place("postgresql", "here"))
    with store._database.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM information_schema.sequences").scalar() == 0
    store.close()


def test_a_database_that_holds_anything_is_not_written_over(place, tmp_path, monkeypatch, capsys):
    store, _ = lived_in(place("sqlite", "here"))
    back_up(store, tmp_path / "here", tmp_path / "all.zip")
    store.close()
    there = place("postgresql", "there")
    taken = Store(there)
    taken.plans.create(default_design(200.0))
    before = everything(taken)
    empty = replace(there, data_dir=tmp_path / "empty")
    assert run("restore", tmp_path / "all.zip", empty, monkeypatch) == 2
    told = capsys.readouterr().err
    assert "is not empty, and nothing is written over" in told
    assert told.count("\n") == 1
    assert everything(taken) == before
    assert not empty.data_dir.exists()
    taken.close()


@pytest.mark.parametrize("when", ["the folder cannot be put in place", "the folder is in place and then the database fails"])
def test_what_stops_half_way_leaves_neither_rows_nor_recordings(place, tmp_path, monkeypatch, when):
    store, _ = lived_in(place("sqlite", "here"))
    back_up(store, tmp_path / "here", tmp_path / "all.zip")
    store.close()
    there = place("postgresql", "there")

    def fails(*_args):
        raise KeyboardInterrupt

    if when.startswith("the folder cannot"):
        monkeypatch.setattr(Path, "replace", fails)
    else:
        monkeypatch.setattr("app.backup.sync_folder", fails)
    with pytest.raises(KeyboardInterrupt):
        put_back(tmp_path / "all.zip", there.data_dir, there.database_url)
    monkeypatch.undo()
    assert not there.data_dir.exists()
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".half")]
    opened = Store(there)
    assert not any(everything(opened).values())
    opened.close()


def test_a_backup_of_an_older_program_goes_into_postgresql(place, tmp_path):
    older = tmp_path / "older"
    older.mkdir()
    with sqlite3.connect(older / "trials.sqlite3") as connection:
        connection.executescript((KEPT / "schema-5.sql").read_text())
    connection.close()
    sums = {"trials.sqlite3": hashlib.sha256((older / "trials.sqlite3").read_bytes()).hexdigest()}
    (older / "backup.json").write_text(json.dumps({"format": "countercheck backup", "format_version": 1, "members": sums}))
    there = place("postgresql", "there")
    put_back(older, there.data_dir, there.database_url)
    store = Store(there)
    assert store.dossiers.of("peHxuxPEsrD-OA2bVUOZV6f5NxBoS6aM").dossier.conclusion == "Reads true."
    store.close()


def test_a_text_that_postgresql_cannot_hold_is_one_sentence(place, tmp_path, monkeypatch, capsys):
    store, _trials = lived_in(place("sqlite", "here"))
    with store._database.writing() as connection:
        connection.exec_driver_sql("UPDATE note SET text = 'a' || char(0) || 'b'")
    back_up(store, tmp_path / "here", tmp_path / "all.zip")
    store.close()
    there = place("postgresql", "there")
    assert run("restore", tmp_path / "all.zip", there, monkeypatch) == 2
    told = capsys.readouterr().err
    assert "did not take what the backup holds" in told
    assert told.count("\n") == 1
    assert not there.data_dir.exists()


def test_a_backup_of_postgresql_at_work_is_of_one_moment(place, tmp_path, monkeypatch):
    here = place("postgresql", "here")
    path = os.pathsep.join([str(Path(__file__).parent), os.environ.get("PYTHONPATH", "")])
    env = os.environ | {"PYTHONPATH": path, "COUNTERCHECK_DATABASE_URL": here.database_url}
    command = [sys.executable, "-c", WRITER.replace(", environ={}", ""), str(here.data_dir)]
    writer = subprocess.Popen(command, stdout=subprocess.PIPE, env=env)
    writer.stdout.readline()
    for i in range(3):
        assert run("backup", tmp_path / f"{i}.zip", here, monkeypatch) == 0
    writer.kill()
    writer.wait()
    for i in range(3):
        there = place("sqlite", f"back{i}")
        assert run("restore", tmp_path / f"{i}.zip", there, monkeypatch) == 0
        back = Store(there)
        with back._database.reading() as connection:
            addresses = connection.exec_driver_sql("SELECT token FROM reader_link").scalars().all()
        open_whole(back, addresses)
        back.close()
