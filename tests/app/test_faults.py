"""A full disk, a locked or broken database, owners at odds: one plain sentence each, nothing half made, nothing lost.

Referees: the files in the data folder, SQLite's own errors from a second connection, and what the client was told.
"""

from __future__ import annotations

import errno
import os
import sqlite3
import threading

import pytest
from asking import OURS, finished, make, send, settled
from pretend import kept
from sqlalchemy import event
from test_store import files_in

from analysis.setup import Setup
from app.jobs import Ready
from app.store import Busy, ChangedMeanwhile, Store, UnusableStore


@pytest.fixture
def impatient(services):
    """The app's store, which waits a tenth of a second for a locked database instead of twenty."""
    engine = services.store._database.engine
    event.listen(engine, "checkout", lambda connection, *_: connection.execute("PRAGMA busy_timeout = 100"))
    return services.store


@pytest.fixture
def locked(settings):
    """Somebody else holds the write lock of the database."""
    other = sqlite3.connect(settings.data_dir / "trials.sqlite3", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    yield other
    other.close()


def rows_in(settings) -> dict[str, int]:
    with sqlite3.connect(settings.data_dir / "trials.sqlite3") as connection:
        tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {table: connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables}


def full_disk(monkeypatch):
    """From now on nothing more can be written, as a full disk says it."""

    def full(*_args, **_more):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)


def test_an_upload_onto_a_full_disk_is_one_sentence_and_leaves_nothing(client, settings, monkeypatch):
    full_disk(monkeypatch)
    answer = send(client, b"power 200", "hub.line")
    assert answer.status_code == 507
    assert answer.get_json()["error"] == "The server's disk is full, so nothing was kept; make room on it and try again."
    assert files_in(settings.data_dir / "recordings") == []
    monkeypatch.undo()
    assert send(client, b"power 200", "hub.line").status_code == 200


def test_a_database_without_room_makes_no_half_a_trial(client, services, settings):
    sent = [send(client, text, f"{i}.line").get_json() for i, text in enumerate((b"power 200", b"power 210"))]
    before = rows_in(settings)
    # SQLite's own limit: when the next page does not fit, the error is the one of a full disk
    pages = {"most": 1}

    def cap(connection, *_):
        connection.execute(f"PRAGMA max_page_count = {pages['most']}")

    event.listen(services.store._database.engine, "checkout", cap)
    asked = {"recordings": [{"id": s["id"], "name": s["name"]} for s in sent], "setup": {"trial": {"title": "x" * 200}}}
    for _ in range(60):  # until the free pages are used up
        answer = client.post("/trials", json=asked, headers=OURS)
        if answer.status_code != 201:
            break
        before = rows_in(settings)
    assert answer.status_code == 507
    assert "disk is full" in answer.get_json()["error"]
    assert rows_in(settings) == before
    pages["most"] = 10**6
    assert client.get(make(client, b"power 200", b"power 210").get_json()["path"]).status_code == 200


def test_a_locked_database_is_asked_for_patience_and_nothing_is_lost(client, impatient, settings, locked):
    answer = make(client, b"power 200", b"power 210")
    assert answer.status_code == 503
    assert answer.get_json()["error"] == "The server's database is busy and nothing was changed; try again in a minute."
    assert int(answer.headers["Retry-After"]) > 0
    locked.execute("ROLLBACK")
    assert make(client, b"power 200", b"power 210").status_code == 201
    assert rows_in(settings)["trial"] == 1


def test_readers_go_on_while_the_database_is_locked(client, impatient, settings):
    path = make(client, b"power 200", b"power 210").get_json()["path"]
    other = sqlite3.connect(settings.data_dir / "trials.sqlite3", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    assert client.get(path).status_code == 200
    assert finished(client, f"{path}/result.json").status_code == 200
    other.close()


def test_a_set_up_that_met_a_locked_database_is_as_it_was(impatient, settings, locked):
    locked.execute("ROLLBACK")
    pairs = [(kept(impatient, "power 1"), "a"), (kept(impatient, "power 2"), "b")]
    new = impatient.create_trial(pairs, Setup(title="before"))
    locked.execute("BEGIN IMMEDIATE")
    for act in (
        lambda: impatient.change_setup(new.trial_id, Setup(title="after")),
        lambda: impatient.new_owner_key(new.trial_id),
        lambda: impatient.sweep(),
    ):
        with pytest.raises(Busy):
            act()
    locked.execute("ROLLBACK")
    assert impatient.trial(new.trial_id).setup.title == "before"
    assert impatient.change_setup(new.trial_id, Setup(title="after")) == 2


def test_a_database_broken_under_a_running_server_is_one_sentence_and_a_line_in_the_log(client, services, settings, caplog):
    path = make(client, b"power 200", b"power 210").get_json()["path"]
    services.store._database.engine.dispose()
    with sqlite3.connect(settings.data_dir / "trials.sqlite3") as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    with (settings.data_dir / "trials.sqlite3").open("r+b") as file:
        file.seek(4096)
        file.write(b"\xff" * 200_000)
    services.jobs._kept.clear()
    answer = client.get(f"{path}/result.json")
    assert answer.status_code == 503
    assert answer.get_json()["error"].startswith("The server's database could not be read")
    assert "Traceback" not in answer.get_data(as_text=True)
    assert "malformed" in caplog.text
    with pytest.raises(UnusableStore):
        services.store.trial(path.rpartition("/")[2])


def test_of_owners_who_save_at_the_same_moment_one_wins_and_the_others_are_told(settings):
    store = Store(settings)
    trial_id = store.create_trial([(kept(store, "power 1"), "a"), (kept(store, "power 2"), "b")], Setup()).trial_id
    start, won, told = threading.Barrier(6), [], []

    def save(n: int) -> None:
        start.wait()
        try:
            won.append((store.change_setup(trial_id, Setup(title=f"owner {n}"), seen_version=1), n))
        except ChangedMeanwhile as problem:
            told.append(str(problem))

    owners = [threading.Thread(target=save, args=(n,)) for n in range(6)]
    for owner in owners:
        owner.start()
    for owner in owners:
        owner.join()
    assert len(won) == 1
    assert told == 5 * ["Somebody else changed this trial meanwhile; reload the page and try again."]
    assert store.trial(trial_id).setup.title == f"owner {won[0][1]}"
    assert [one.version for one in store.history(trial_id)] == [1, 2]
    store.close()


def test_a_result_is_computed_again_to_the_same_page_when_the_whole_cache_is_gone(bench):
    trial_id = bench.trial()
    before = settled(bench.jobs, trial_id)
    kept_bytes = bench.result_bytes(trial_id)
    bench.store.results.clear()
    bench.jobs._kept.clear()
    after = settled(bench.jobs, trial_id)
    assert isinstance(after, Ready)
    assert after.open_trial.report == before.open_trial.report
    assert bench.result_bytes(trial_id) == kept_bytes
    assert len(bench.counter.compares) == 2


def test_results_onto_a_full_disk_cost_only_a_line_in_the_log(bench, monkeypatch, caplog):
    def full(*_args, **_more):
        raise sqlite3.OperationalError("database or disk is full")

    trial_id = bench.trial()
    monkeypatch.setattr(bench.store.results._cache, "set", full)
    assert isinstance(settled(bench.jobs, trial_id), Ready)
    assert "disk is full" in caplog.text
