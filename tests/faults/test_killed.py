"""The server is killed at any moment (SIGKILL, nothing can be tidied up); what it acknowledged is there when it comes back.

Referee: the journals of the clients, against the files and the database on the disk.
"""

from __future__ import annotations

import json
import os
import random
import sys
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from journal import Client, Journal, Served, unlike

from app import links

BOATHOUSE = Path(__file__).parents[2] / "sample_data" / "boathouse"

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL here")

# Children that read uploads take seconds to start where other work is under way.
PATIENCE_S = 40.0


def killed_again_and_again(folder: Path, times: int, seed: int) -> tuple[Journal, list[str]]:
    """Kill the server `times` times at work; everything acknowledged, and what of it was found wrong after any restart."""
    rng, journal, wrong = random.Random(seed), Journal(), []
    folder.mkdir()
    for round_ in range(times):
        served, stop = Served(folder), threading.Event()
        wrong += [f"round {round_}: {what}" for what in unlike(folder, journal)]
        workers = [
            threading.Thread(target=Client(seed + 10 * round_ + n, journal).work, args=(served.address, stop)) for n in range(2)
        ]
        for worker in workers:
            worker.start()
        if round_ % 2:  # every other kill comes amid work, however slow the machine is to begin with it
            begun, until = len(journal.uploads), time.monotonic() + PATIENCE_S
            while len(journal.uploads) == begun and time.monotonic() < until:
                time.sleep(0.02)
        time.sleep(rng.uniform(0.2, 4.0))
        served.kill()
        stop.set()
        for worker in workers:
            worker.join()
    last = Served(folder)
    wrong += unlike(folder, journal)
    for address in list(journal.trials)[-5:]:
        with urllib.request.urlopen(last.address + links.trial_path(address), timeout=60) as answer:
            wrong += [] if answer.status == 200 else [f"{address} is answered by {answer.status}"]
    last.kill()
    return journal, wrong


@pytest.mark.timeout(300)
def test_what_was_acknowledged_survives_kills_at_work(tmp_path):
    journal, wrong = killed_again_and_again(tmp_path / "data", times=5, seed=20_241)
    assert wrong == []
    assert journal.refusals == []
    assert len(journal.uploads) > 5, "the clients did next to nothing; the test says nothing"


@pytest.mark.nightly
@pytest.mark.timeout(3600)
def test_what_was_acknowledged_survives_a_hundred_kills(tmp_path):
    journal, wrong = killed_again_and_again(tmp_path / "data", times=100, seed=20_242)
    print(f"{len(journal.uploads)} uploads, {len(journal.trials)} trials, {sum(map(len, journal.titles.values()))} changes")
    assert wrong == []
    assert journal.refusals == []
    assert len(journal.trials) > 100


def test_the_check_sees_what_is_lost_damaged_or_half_made(tmp_path):
    # The referee's own check.
    folder, journal = tmp_path / "data", Journal()
    folder.mkdir()
    served, stop = Served(folder), threading.Event()
    worker = threading.Thread(target=Client(1, journal).work, args=(served.address, stop))
    worker.start()
    end = time.monotonic() + 60
    while not journal.titles and time.monotonic() < end:
        time.sleep(0.05)
    stop.set()
    worker.join()
    served.kill()
    assert unlike(folder, journal) == []
    journal.titles[next(iter(journal.titles))].append("never said")
    journal.trials["x" * 32] = []
    journal.trials["y" * 32] = ["z"]
    next(folder.glob("recordings/??/*.gz")).write_bytes(b"rot")
    journal.uploads.add("0" * 64)
    found = " ".join(unlike(folder, journal))
    for words in ("title 'never said' is lost", "trial yyyy", "is damaged", "upload 0000"):
        assert words in found


def test_a_start_clears_what_a_killed_server_left_and_others_can_read_nothing(tmp_path):
    folder = tmp_path / "data"
    half = folder / "recordings" / "ab" / ".half-old"
    half.parent.mkdir(parents=True)
    half.write_bytes(b"x")
    os.utime(half, (time.time() - 7200,) * 2)
    Served(folder).kill()
    assert not half.exists()
    found = {path.name: oct(path.stat().st_mode & 0o077) for path in folder.rglob("*") if path != half.parent}
    assert {"trials.sqlite3", "secret", "cache.db"} <= set(found)
    assert {name: mode for name, mode in found.items() if mode != "0o0"} == {}


@pytest.mark.timeout(300)
def test_an_analysis_that_was_killed_is_made_again(tmp_path):
    folder = tmp_path / "data"
    folder.mkdir()
    served, client = Served(folder), Client(2, Journal())
    opener = urllib.request.build_opener()
    sent = []
    for name in ("hub.fit", "spider.fit", "pedals.fit"):
        answer = client._send(opener, served.address, "/upload", (BOATHOUSE / name).read_bytes(), name)
        sent.append({"id": answer["id"], "name": answer["name"]})
    path = client._post(opener, served.address, "/trials", {"recordings": sent, "setup": {}})["path"] + "/result.json"
    status, _ = asked(served.address + path)
    assert status == 503  # it has just begun
    time.sleep(0.15)
    served.kill()
    served = Served(folder)
    end = time.monotonic() + 150  # the dead server's hold on the analysis ends after `jobs.HOLD_S`
    while (told := asked(served.address + path))[0] == 503 and time.monotonic() < end:
        time.sleep(0.5)
    served.kill()
    assert told[0] == 200, told
    assert [r["file"] for r in json.loads(told[1])["recordings"]] == ["hub.fit", "spider.fit", "pedals.fit"]


def asked(address: str) -> tuple[int, bytes]:
    try:
        with urllib.request.urlopen(address, timeout=60) as answer:
            return answer.status, answer.read()
    except urllib.error.HTTPError as problem:
        return problem.code, problem.read()
