"""Reading in children. Referees: planted misdeeds in the real child process, the sentences, and what reads on meanwhile."""

from __future__ import annotations

import io
import os
import re
import signal
import threading
import zipfile

import pytest
from planted_child import PLANTED

from analysis.reading import packed, read
from app import parsing
from app.limits import Limits
from app.parsing import Children, ReadersBusy
from app.places import sample_dir

GOOD = b"secs,power\n" + b"".join(b"%d,%d\n" % (i, 200 + i % 7) for i in range(120))
HUB = (sample_dir() / "hub.fit").read_bytes()
pytestmark = pytest.mark.skipif(os.name != "posix", reason="the limits of a process are those of POSIX systems")


@pytest.fixture(scope="module")
def children():
    """With little patience: a second of processor time, a tenth of the usual memory."""
    opened = Children(Limits(read_s=1.0, read_bytes=150 * 2**20), command=PLANTED)
    yield opened
    opened.close()


def one(children, data: bytes, name: str = "odd.csv"):
    (found,) = children.read(data, name=name)
    assert found.name == name
    return found


def test_a_child_reads_what_this_process_reads(children):
    here, there = read(HUB, name="hub.fit"), one(children, HUB, "hub.fit").recording
    assert packed.pack(there) == packed.pack(here)
    assert there.name == "hub.fit"


@pytest.mark.parametrize(
    ("word", "words"),
    [
        (b"SLEEP", "longer than 1 s"),
        (b"SPIN", "longer than 1 s"),
        (b"EAT", "more memory"),
        (b"DIE", "a fault of the program"),
        (b"FAULT", "a fault of the program"),
    ],
)
def test_whatever_a_file_does_costs_itself_and_is_one_sentence(children, word, words):
    found = one(children, word + b" 1")
    assert found.recording is None
    assert found.error.startswith("odd.csv ")
    assert words in found.error
    assert "secret" not in found.error
    assert one(children, GOOD).recording is not None  # the next upload finds a reader again


def test_a_good_file_is_read_while_a_bad_one_hangs(children):
    answers = {}
    bad = threading.Thread(target=lambda: answers.update(bad=one(children, b"SLEEP 1")))
    bad.start()
    answers["good"] = one(children, GOOD)
    assert bad.is_alive() or answers["bad"].error  # read beside it, not behind it
    bad.join()
    assert answers["good"].recording is not None
    assert "longer" in answers["bad"].error


def zipped(**files: bytes) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, data in files.items():
            archive.writestr(f"{name}.csv", data)
    return stream.getvalue()


def test_a_bad_file_in_an_archive_does_not_cost_the_others(children):
    found = children.read(zipped(a=GOOD, b=b"DIE 1", c=GOOD + b"120,9\n", d=b"EAT 1", e=GOOD + b"120,8\n"), name="rides.zip")
    assert [one.name for one in found] == ["a.csv", "b.csv", "c.csv", "d.csv", "e.csv"]
    assert [one.recording is not None for one in found] == [True, False, True, False, True]
    assert all(one.name in one.error for one in found if one.error)


def test_an_archive_of_many_bad_files_is_given_up(children):
    found = children.read(zipped(**{c: b"DIE 1" for c in "abcdef"}), name="rides.zip")
    assert len(found) == 6
    assert ["left unread" in one.error for one in found] == [False] * 3 + [True] * 3


def test_nothing_that_is_printed_ends_between_the_frames(children):
    assert one(children, b"PRINT x\n" + GOOD).recording is not None


def test_a_child_can_write_to_no_disk_and_knows_no_secret(children, tmp_path, monkeypatch):
    place = tmp_path / "positions"
    assert one(children, b"WRITE %s" % str(place).encode()).recording is None
    assert not place.exists() or place.read_bytes() == b""
    monkeypatch.setenv("COUNTERCHECK_SECRET_KEY", "s" * 40)
    one(children, b"DIE 1")  # its successor is started under the environment as it is now
    assert "[]" in one(children, b"LOOK 1").error


def test_a_child_that_was_ended_from_outside_is_replaced_without_a_word(children):
    pid = int(re.search(r"(\d+)$", one(children, b"LOOK 1").error)[1])
    os.kill(pid, signal.SIGKILL)
    assert one(children, GOOD).recording is not None


def test_when_every_child_is_taken_the_wait_ends_with_a_sentence(monkeypatch):
    monkeypatch.setattr(parsing, "WAIT_S", 0.05)
    children = Children(Limits(readers=1), command=PLANTED)
    with children._child(), pytest.raises(ReadersBusy, match="try again"):
        children.read(GOOD, name="a.csv")
    children.close()


def test_children_end_with_the_server():
    children = Children(Limits(readers=1))
    children.read(GOOD, name="a.csv")
    process = children._all[0]._process
    children.close()
    assert process.poll() is not None


def test_a_closed_pipe_ends_a_child():
    # as when the server itself was killed and could end nobody
    children = Children(Limits(readers=1))
    process = children._all[0].start()
    process.stdin.close()
    assert process.wait(60) == 0
    process.stdout.close()
