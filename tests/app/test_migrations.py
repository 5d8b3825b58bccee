"""A database of every earlier schema is taken over. Referees: a database that the older program wrote, Alembic's own comparison
of tables and models, and a fresh trial of the same recordings."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from asking import settled

from app import showing
from app.jobs import Ready
from app.links import trial_path
from app.main import create_app
from app.services import CONFIG_KEY
from app.settings import Settings
from app.store import Store, UnusableStore, schema
from app.store.migrations import is_current, migrate

KEPT = Path(__file__).parent / "kept"
# Made by the program when its schema was 1: one trial with its set-up changed once and two owner keys, one of the same
# recordings whose deltas are hidden.
OPEN, HIDDEN = "8UwFks7XsETBfTNOMnuIs4C8nzXLEeoc", "HG3TXQ-gBX8NV7s26qhmPF5Khw7yPtNv"
KEYS = ("oid5WmZ-xISfvPuQ88RH_kLSWoWdGYO7K3sa_NpYzAo", "FnEiVCsQlx95tB9u1cGiiBfnrMTUl_yJCSXl9Idz_Iw")
HIDDEN_KEY = "a2tnIimBWySS3H31GflaH2kOYFGyOs9rq_S8xut9TCo"
BEFORE_BLOCKS_FIRST = "trial_blocks_first"


def older(folder: Path, *, without: str | None = None, schema_was: int = 1) -> Settings:
    """A data folder as the older program left it; `without` a table that came later."""
    folder.mkdir()
    shutil.copytree(KEPT / "recordings", folder / "recordings")
    with sqlite3.connect(folder / "trials.sqlite3") as connection:
        connection.executescript((KEPT / f"schema-{schema_was}.sql").read_text())
        if without:
            connection.execute(f"DROP TABLE {without}")
    return Settings.from_environment(data_dir=folder, environ={})


def rows(settings: Settings, table: str, columns: str = "*") -> list[tuple]:
    with sqlite3.connect(settings.data_dir / "trials.sqlite3") as connection:
        return sorted(connection.execute(f"SELECT {columns} FROM {table}").fetchall())


def content_of(app, trial_id: str) -> str:
    """What a reader's browser is given for the trial, without its address."""
    jobs = app.server.config[CONFIG_KEY].jobs
    assert isinstance(settled(jobs, trial_id, within_s=120), Ready)
    client = app.server.test_client()
    assert client.get(trial_path(trial_id)).status_code == 200
    with app.server.test_request_context(trial_path(trial_id)):
        page = json.dumps(showing.content(trial_id).to_plotly_json(), default=lambda part: part.to_plotly_json())
    return page.replace(trial_id, "THE-ADDRESS")


@pytest.mark.parametrize("without", [None, BEFORE_BLOCKS_FIRST])
def test_an_older_database_is_taken_over_without_loss(tmp_path, without):
    settings = older(tmp_path / "data", without=without)
    columns = {
        "trial": "trial_id, created_utc, setup_version", "owner_key": "trial_id, key_sha256, created_utc",
        "trial_setup": "*", "trial_recording": "*", "trial_blocks_first": "*",
    }  # fmt: skip
    if without:
        del columns[without]
    before = {table: rows(settings, table, names) for table, names in columns.items()}
    store = Store(settings)
    assert {table: rows(settings, table, names) for table, names in columns.items()} == before
    assert rows(settings, "reader_link", "token, trial_id, expires_utc, revoked_utc") == [
        (OPEN, OPEN, None, None), (HIDDEN, HIDDEN, None, None),
    ]  # fmt: skip
    assert store.trial(OPEN).setup.title == 'Kiln road, "first" go; it\'s <b>old</b>'
    assert [version.version for version in store.history(OPEN)] == [1, 2]
    assert all(store.owner_of(OPEN, key) for key in KEYS)
    assert not store.owner_of(OPEN, HIDDEN_KEY)
    assert store.trial(HIDDEN).deltas_hidden is (without is None)
    store.close()


def test_a_trial_of_the_older_program_opens_with_the_page_of_a_fresh_one(tmp_path):
    app = create_app(older(tmp_path / "data"))
    store = app.server.config[CONFIG_KEY].store
    kept = store.trial(OPEN)
    fresh = store.create_trial(kept.recordings, store.history(OPEN)[0].setup).trial_id
    store.change_setup(fresh, kept.setup)
    page = content_of(app, OPEN)
    assert "Kiln road" in page
    assert page == content_of(app, fresh)
    app.server.config[CONFIG_KEY].jobs.close()
    store.close()


def test_after_every_migration_the_tables_are_those_of_the_models(store):
    with store._database.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), schema.metadata) == []
        assert is_current(connection)


def test_the_comparison_sees_a_table_and_a_column_too_few(tmp_path, store):
    # The referee's own check.
    with store._database.writing() as connection:
        connection.exec_driver_sql("DROP TABLE note")
        connection.exec_driver_sql("ALTER TABLE reader_link DROP COLUMN label")
    with store._database.reading() as connection:
        found = str(compare_metadata(MigrationContext.configure(connection), schema.metadata))
    assert "'note'" in found
    assert "add_column" in found


def test_a_database_migrated_already_is_left_as_it_is(tmp_path):
    settings = older(tmp_path / "data")
    Store(settings).close()
    before = rows(settings, "trial"), rows(settings, "reader_link"), rows(settings, "alembic_version")
    Store(settings).close()
    assert (rows(settings, "trial"), rows(settings, "reader_link"), rows(settings, "alembic_version")) == before


def test_a_migration_that_stops_half_way_leaves_the_older_database(tmp_path, monkeypatch):
    settings = older(tmp_path / "data")

    def then_off(connection):
        migrate(connection)
        raise KeyboardInterrupt

    monkeypatch.setattr("app.store.database.migrate", then_off)
    with pytest.raises(KeyboardInterrupt):
        Store(settings)
    monkeypatch.undo()
    names = {name for (name,) in rows(settings, "sqlite_master", "name")}
    assert not names & {"reader_link", "note", "alembic_version"}
    store = Store(settings)  # and the next start goes all the way
    assert store.trial(OPEN) is not None
    store.close()


OPENER = (
    "import sys; from app.settings import Settings; from app.store import Store\n"
    "store = Store(Settings.from_environment(data_dir=sys.argv[1], environ={})); print(store.trial(sys.argv[2]).setup_version)"
)


def test_of_processes_that_start_together_one_migrates_and_the_others_wait(tmp_path):
    settings = older(tmp_path / "data")
    command = [sys.executable, "-c", OPENER, str(settings.data_dir), OPEN]
    workers = [
        subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=os.environ) for _ in range(4)
    ]
    told = [worker.communicate(timeout=120) for worker in workers]
    assert [worker.returncode for worker in workers] == [0] * 4, told
    assert [out.strip() for out, _ in told] == ["2"] * 4
    assert len(rows(settings, "reader_link")) == 2


def test_a_database_of_a_newer_program_is_refused_and_left_alone(tmp_path):
    settings = older(tmp_path / "data")
    with sqlite3.connect(settings.data_dir / "trials.sqlite3") as connection:
        connection.execute("UPDATE schema_version SET version = ?", (schema.SCHEMA_VERSION + 1,))
    with pytest.raises(UnusableStore, match=r"newer countercheck .*update the program"):
        Store(settings)
    assert "reader_link" not in {name for (name,) in rows(settings, "sqlite_master", "name")}


def test_the_older_program_sees_that_the_database_is_newer_now(tmp_path):
    settings = older(tmp_path / "data")
    Store(settings).close()
    assert rows(settings, "schema_version", "version") == [(schema.SCHEMA_VERSION,)]  # what it asks for, against its own 1
