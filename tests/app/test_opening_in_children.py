"""Trials from elsewhere are opened in a child process. Referees: the trial they were taken from, files made to be slow and to be
big, and what is opened next."""

from __future__ import annotations

import json
import os
import random
import signal
import threading
from dataclasses import replace

import pytest
from parcels import members_of, repacked, taken_away

from app.carrying import parcel
from app.carrying.opening import MAX_VERSIONS, read_trial
from app.carrying.parcel import BadParcel
from app.limits import Limits
from app.parsing import Children
from app.store import StoreProblem

pytestmark = pytest.mark.skipif(os.name != "posix", reason="the limits of a process are those of POSIX systems")


@pytest.fixture
def good(client, carried_trial) -> bytes:
    return taken_away(client, carried_trial).data


@pytest.fixture(scope="module")
def children():
    opened = Children(Limits(read_s=1.0, read_bytes=150 * 2**20))
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def tight():
    """As much time as anybody gets, little memory."""
    opened = Children(Limits(read_s=20.0, read_bytes=60 * 2**20, readers=1))
    yield opened
    opened.close()


def with_history(good: bytes, entries: int, devices: int) -> bytes:
    """The same trial with so many versions of a set-up, each of so many devices: true to the format, and a lot of it."""
    members = members_of(good)
    tree = json.loads(members[parcel.TRIAL])
    device = dict(tree["history"][0]["setup"]["device"][0])
    setup = tree["history"][0]["setup"] | {"device": [device | {"label": f"d{i}", "file": f"{i}"} for i in range(devices)]}
    first = tree["history"][0]
    tree["history"] = [first | {"version": i, "setup": setup} for i in range(1, entries + 1)]
    members[parcel.TRIAL] = json.dumps(tree, separators=(",", ":")).encode()
    return repacked(members)


def test_a_child_opens_what_this_process_opens(children, good):
    here, there = (one(good, name="mine.zip", max_files=24) for one in (read_trial, children.read_trial))
    assert [r.samples.equals(s.samples) for r, s in zip(here.recordings, there.recordings, strict=True)] == [True] * 3
    assert [(r.name, r.sha256, r.facts) for r in there.recordings] == [(r.name, r.sha256, r.facts) for r in here.recordings]
    assert replace(there, recordings=()) == replace(here, recordings=())


def test_a_trial_made_to_be_slow_is_one_sentence_and_the_next_one_opens(children, good):
    slow = with_history(good, MAX_VERSIONS, 3)
    with pytest.raises(BadParcel, match=r"^slow.zip took longer than 1 s to open, which no trial does; take it away .* again\.$"):
        children.read_trial(slow, name="slow.zip", max_files=24)
    assert children.read_trial(good, name="mine.zip", max_files=24).versions


def test_a_trial_made_to_be_big_is_one_sentence_and_the_next_one_opens(tight, good):
    members = members_of(good)
    kinds = random.Random(5).choices((b"[],", b"{},"), k=4_000_000)  # not so alike that it is taken for a bomb
    members[parcel.TRIAL] = b"[" + b"".join(kinds) + b"1]"
    big = repacked(members)
    assert len(big) < 2_000_000
    with pytest.raises(BadParcel, match=r"^big.zip takes more memory to open than any trial; take it away .* again\.$"):
        tight.read_trial(big, name="big.zip", max_files=24)
    assert tight.read_trial(good, name="mine.zip", max_files=24).versions


def test_what_is_wrong_with_a_trial_is_said_in_the_words_of_this_process(children, good):
    members = members_of(good)
    members[parcel.TRIAL] = members[parcel.TRIAL].replace(b'"blocks_first"', b'"blocks_last"')
    for data in (repacked(members), good[:-500], b"PK\x05\x06" + bytes(18)):
        said = []
        for opener in (read_trial, children.read_trial):
            with pytest.raises(BadParcel) as told:
                opener(data, name="odd.zip", max_files=24)
            said.append(str(told.value))
        assert said[0] == said[1]


def test_a_child_that_was_ended_by_somebody_else_costs_nothing(children, good):
    children.read_trial(good, name="mine.zip", max_files=24)
    for child in children._all:
        if child._process is not None:
            os.kill(child._process.pid, signal.SIGKILL)
    assert children.read_trial(good, name="mine.zip", max_files=24).notes


def test_the_server_reads_a_brought_trial_in_its_children(app, client, good, services, monkeypatch):
    asked = []

    def read(data, *, name, max_files):
        asked.append((threading.current_thread().name, name, max_files))
        raise StoreProblem("stopped here")

    monkeypatch.setattr(services.reader, "read_trial", read, raising=True)
    for path in ("/import", "/upload"):
        answer = client.post(
            path, data=good, headers={"X-Requested-With": "countercheck", "Origin": "http://localhost", "X-File-Name": "mine.zip"}
        )
        assert "stopped here" in answer.text
    assert [entry[1:] for entry in asked] == [("mine.zip", 24)] * 2
