"""What may vanish. Referees: entries that a plain diskcache.Cache wrote (it pickles), tampered rows, damaged bytes."""

from __future__ import annotations

import os
import shutil
import sqlite3
import stat

import diskcache
import pytest

from app.store import UnusableStore
from app.store.results import BytesOnlyDisk, RefusedEntry, Results


@pytest.fixture
def results(tmp_path):
    opened = Results(tmp_path / "r", size_bytes=2**20)
    yield opened
    opened.close()


class Bomb:
    """Writes a file when it is unpickled."""

    def __init__(self, path):
        self.path = str(path)

    def __reduce__(self):
        return (open, (self.path, "w"))


@pytest.mark.parametrize("size", [1, 200_000])  # inline in the table, and in a file of its own
def test_bytes_come_back_and_survive_a_restart(tmp_path, size):
    data = os.urandom(size)
    first = Results(tmp_path / "r", size_bytes=2**24)
    first.put("k", data)
    first.close()
    again = Results(tmp_path / "r", size_bytes=2**24)
    assert again.get("k") == data
    again.close()


def test_a_pickled_entry_is_refused_and_its_code_never_runs(tmp_path):
    target = tmp_path / "ran"
    plain = diskcache.Cache(str(tmp_path / "r"))
    plain["result:x"] = Bomb(target)
    plain["big"] = [Bomb(target), "x" * 100_000]
    plain.close()
    # the referee works: a plain cache does run it
    with diskcache.Cache(str(tmp_path / "r")) as unwary:
        unwary["result:x"].close()
    assert target.exists()
    target.unlink()

    results = Results(tmp_path / "r", size_bytes=2**20)
    assert results.get("result:x") is None
    assert results.get("big") is None
    results.put("result:x", b"sound")
    assert results.get("result:x") == b"sound"
    results.delete("big")
    assert not target.exists()
    results.close()


def test_a_pickled_key_or_lock_is_no_obstacle(tmp_path):
    target = tmp_path / "ran"
    plain = diskcache.Cache(str(tmp_path / "r"))
    plain["lock:x"] = Bomb(target)
    plain[("a", 1)] = b"tuple keys are pickled"
    plain.close()
    results = Results(tmp_path / "r", size_bytes=2**20)
    assert results.claim("lock:x", b"me", expire_s=60)
    with pytest.raises(RefusedEntry):
        list(results._cache)
    assert not target.exists()
    results.close()


@pytest.mark.parametrize("value", ["text", 1, 1.5, None, {"a": 1}, [b"x"]])
def test_only_bytes_are_stored(tmp_path, value):
    cache = diskcache.Cache(str(tmp_path / "r"), disk=BytesOnlyDisk)
    with pytest.raises(RefusedEntry):
        cache.set("k", value)
    cache.close()


def test_a_row_cannot_name_a_file_outside_the_folder(tmp_path):
    secret = tmp_path / "secret"
    secret.write_bytes(b"not yours")
    results = Results(tmp_path / "r", size_bytes=2**20)
    results.put("k", b"x" * 100_000)
    with sqlite3.connect(tmp_path / "r" / "cache.db") as table:
        table.execute("UPDATE Cache SET filename = '../secret'")
    assert results.get("k") is None
    results.delete("k")
    assert secret.read_bytes() == b"not yours"
    results.close()


@pytest.mark.parametrize("size", [100, 100_000])
def test_damaged_bytes_count_as_missing(tmp_path, size):
    results = Results(tmp_path / "r", size_bytes=2**24)
    results.put("k", b"a" * size)
    for path in (tmp_path / "r").rglob("*.val"):
        path.write_bytes(path.read_bytes()[:-1] + b"b")
    with sqlite3.connect(tmp_path / "r" / "cache.db") as table:
        table.execute("UPDATE Cache SET value = CAST(substr(value, 1, 50) || x'00' AS BLOB) WHERE value IS NOT NULL")
    assert results.get("k") is None
    results.close()


def test_a_results_folder_of_rubbish_is_started_afresh(tmp_path):
    (tmp_path / "r").mkdir()
    (tmp_path / "r" / "cache.db").write_bytes(b"rubbish " * 1000)
    results = Results(tmp_path / "r", size_bytes=2**20)
    results.put("k", b"v")
    assert results.get("k") == b"v"
    results.close()


def test_a_folder_deleted_under_a_running_server_is_made_again_for_its_owner_only(tmp_path):
    results = Results(tmp_path / "r", size_bytes=2**24)
    results.put("k", b"before")
    shutil.rmtree(tmp_path / "r")
    assert results.get("k") is None
    for key, data in (("k", b"after"), ("big", os.urandom(100_000))):
        results.put(key, data)
        assert results.get(key) == data
    assert results.claim("lock", b"me", expire_s=60)
    assert not results.claim("lock", b"you", expire_s=60)
    assert stat.S_IMODE((tmp_path / "r").stat().st_mode) == 0o700
    again = Results(tmp_path / "r", size_bytes=2**24)
    assert again.get("k") == b"after"  # it went into the folder, not into a deleted file
    again.close()
    results.close()


def test_two_workers_agree_after_the_folder_was_deleted(tmp_path):
    one, other = (Results(tmp_path / "r", size_bytes=2**24) for _ in range(2))
    one.put("k", b"before")
    shutil.rmtree(tmp_path / "r")
    one.put("k", b"after")
    assert other.get("k") == b"after"
    one.close()
    other.close()


@pytest.mark.parametrize("damage", ["rubbish", "zeros in the middle", "cut short"])
def test_a_table_damaged_under_a_running_server_is_started_afresh(tmp_path, damage):
    results = Results(tmp_path / "r", size_bytes=2**24)
    for i in range(200):
        results.put(f"k{i}", os.urandom(2000))
    results.put("big", os.urandom(100_000))
    results._cache._con.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    results.close()  # the next use connects again and sees the file as it is
    table = tmp_path / "r" / "cache.db"
    with table.open("r+b") as file:
        if damage == "cut short":
            file.truncate(5000)
        else:
            file.seek(0 if damage == "rubbish" else 4096)
            file.write((b"rubbish " if damage == "rubbish" else bytes(8)) * (table.stat().st_size // 8 - 512))
    for _ in range(2):  # the first may only find out
        results.put("new", b"sound")
        results.get("k1")
    results.put("new", b"sound")
    assert results.get("new") == b"sound"
    assert not list((tmp_path / "r").rglob("*.val")), "a value that no table knows stays for ever"
    results.close()


def test_a_folder_that_cannot_hold_a_table_is_one_sentence(tmp_path, monkeypatch):
    def full(*_args, **_more):
        raise sqlite3.OperationalError("database or disk is full")

    monkeypatch.setattr(diskcache, "Cache", full)
    with pytest.raises(UnusableStore, match="COUNTERCHECK_CACHE_DIR"):
        Results(tmp_path / "r", size_bytes=2**20)


def test_the_folder_stays_within_its_bound_and_the_newest_stay(results):
    for i in range(60):
        results.put(f"k{i}", os.urandom(100_000))
    assert results._cache.volume() < 2 * 2**20  # diskcache trims by tens, so it may overshoot a little
    assert sum(path.stat().st_size for path in results._folder.rglob("*.val")) < 2 * 2**20
    assert results.get("k59") is not None
    assert results.get("k0") is None


def test_a_claim_is_held_by_one_and_released_by_its_holder_only(results):
    assert results.claim("lock", b"one", expire_s=60)
    assert not results.claim("lock", b"two", expire_s=60)
    results.release("lock", b"two")
    assert not results.claim("lock", b"two", expire_s=60)
    results.release("lock", b"one")
    assert results.claim("lock", b"two", expire_s=60)


def test_a_claim_of_a_dead_worker_ends(results):
    assert results.claim("lock", b"dead", expire_s=-1)
    assert results.claim("lock", b"alive", expire_s=60)


def test_prolonging_takes_nothing_from_another_holder(results):
    results.claim("lock", b"one", expire_s=60)
    results.hold("lock", b"two", expire_s=60)
    assert results.get("lock") == b"one"
    results.clear()
    results.hold("lock", b"one", expire_s=60)
    assert not results.claim("lock", b"two", expire_s=60)
