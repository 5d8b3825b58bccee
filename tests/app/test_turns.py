"""The queue of analyses over several workers. Referees: the pretended analysis held up, a clock put forward, what pages say."""

from __future__ import annotations

import time

import pretend
import pytest
from asking import make, settled

from analysis.setup import Setup
from app import jobs_turns, links
from app.jobs import Jobs, Ready, Working
from app.jobs_turns import Turns
from app.limits import Limits
from app.limits_shared import Shared
from app.services import CONFIG_KEY
from app.store import Store

FEW = Limits(analyses=1, queue=2)


@pytest.fixture
def turns(tmp_path):
    return Turns(Shared(tmp_path), FEW)


def test_first_come_first_served_and_no_more_than_may_wait(turns, tmp_path):
    other = Turns(Shared(tmp_path), FEW)  # another worker
    assert turns.join("a") and turns.begin("a")
    assert other.join("b") and turns.join("c")
    assert not other.join("d")
    assert turns.full() and other.full()
    assert [turns.place("b").number, other.place("c").number] == [1, 2]
    assert not turns.begin("c")
    assert not other.begin("b")  # one at a time
    turns.leave("a")
    assert not turns.begin("c")  # b came before
    assert other.begin("b")
    assert turns.place("b") is None


def test_the_wait_is_told_from_how_long_the_last_ones_took(turns, monkeypatch):
    now = {"s": 1e9}
    monkeypatch.setattr(jobs_turns.time, "time", lambda: now["s"])
    assert turns.join("a") and turns.begin("a")
    for _ in range(4):
        now["s"] += 10
        turns.beat(["a"])
    turns.leave("a")
    assert turns.join("b") and turns.begin("b")
    turns.join("c")
    now["s"] += 1
    turns.join("d")
    assert (turns.place("c").words, turns.place("d").words) == (
        "number 1 in line, less than a minute", "number 2 in line, about 2 min",
    )  # fmt: skip


def test_a_worker_that_died_does_not_hold_up_the_others(turns, monkeypatch):
    now = {"s": 1e9}
    monkeypatch.setattr(jobs_turns.time, "time", lambda: now["s"])
    assert turns.join("a") and turns.begin("a")
    turns.join("b")
    for _ in range(5):
        now["s"] += jobs_turns.ALIVE_S / 4
        turns.beat(["b"])  # a is not heard of any more
    assert turns.begin("b")


@pytest.fixture
def workers(settings):
    """Two processes' worth of stores and jobs that share one analysis at a time and a line of two."""
    opened = []
    for _ in range(2):
        store, counter = Store(settings), pretend.Counter()
        counter.gate.clear()
        jobs = Jobs(store, counter.engine(), limits=FEW, shared=Shared(settings.data_dir / "counts"))
        opened.append((store, jobs, counter))
    yield opened
    for store, jobs, counter in opened:
        counter.gate.set()
        jobs.close()
        store.close()


def trial_of(store, watts: int) -> str:
    pairs = [(pretend.kept(store, f"power {watts + i}"), f"{i}.line") for i in range(2)]
    return store.create_trial(pairs, Setup()).trial_id


def wait_until(true, within_s: float = 20.0) -> None:
    end = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < end
        time.sleep(0.01)


def test_analyses_of_two_workers_stand_in_one_line(workers):
    (store, one, first), (_, two, second) = workers
    ids = [trial_of(store, 100 * n) for n in (1, 2, 3, 4)]
    one.ask(ids[0])
    wait_until(lambda: first.compares)
    two.ask(ids[1])
    assert two.ask(ids[1]).stage.startswith("the server is busy: number 1 in line")
    assert one.ask(ids[1]) == two.ask(ids[1])  # every worker tells the same
    one.ask(ids[2])
    assert "number 2 in line" in one.ask(ids[2]).stage
    refused = two.ask(ids[3])
    assert isinstance(refused, Working) and "takes no more" in refused.stage
    assert second.compares == []
    first.gate.set()
    second.gate.set()
    assert isinstance(settled(two, ids[1]), Ready)
    assert isinstance(settled(one, ids[2]), Ready)
    assert isinstance(settled(two, ids[3]), Ready)  # asked again, it found its place
    assert len(first.compares) + len(second.compares) == 4


def test_a_new_trial_is_refused_while_the_line_is_full(client, services, monkeypatch):
    monkeypatch.setattr(services.jobs, "full", lambda: True)
    answer = make(client, b"power 200", b"power 205")
    assert answer.status_code == 503
    assert int(answer.headers["Retry-After"]) > 0
    assert "busy" in answer.get_json()["error"]


def test_a_page_in_line_says_so(client, counter, services):
    counter.gate.clear()
    paths = [make(client, f"power {n}".encode(), f"power {n + 1}".encode()).get_json() for n in (100, 200, 300)]
    for told in paths:
        services.jobs.ask(told["id"])
    words = client.application.config[CONFIG_KEY].jobs.ask(paths[2]["id"]).stage
    assert "number 1 in line" in words
    assert client.get(links.result_path(paths[2]["id"])).status_code == 503
    counter.gate.set()
    assert isinstance(settled(services.jobs, paths[2]["id"]), Ready)
