"""What is counted and what there is room for. Referees: the clock put forward by hand, real processes, a real socket."""

from __future__ import annotations

import http.client
import json
import multiprocessing
import threading
import time
from dataclasses import replace

import pytest
from asking import send
from serving_public import from_address, public_settings, send_publicly

from app import limits_rates, limits_room, links
from app.limits import MB, Limits
from app.limits_rates import Rates, TooMany, network_of
from app.limits_room import Bodies, Crowded, OverQuota, Room
from app.limits_shared import Shared
from app.main import create_app
from app.services import CONFIG_KEY
from app.serving import Server
from app.settings import Settings


@pytest.fixture
def clock(monkeypatch):
    """Moved by hand; the rates read it."""
    now = {"s": 1e9}
    monkeypatch.setattr(limits_rates.time, "time", lambda: now["s"])
    return now


def rates(folder, **limits) -> Rates:
    return Rates(Shared(folder), Limits(**limits), "a secret")


def taken(counting: Rates, rule: str, address: str, tries: int) -> int:
    done = 0
    for _ in range(tries):
        try:
            counting.take(rule, address)
        except TooMany:
            break
        done += 1
    return done


# --- rates


def test_the_whole_allowance_passes_at_once_and_comes_back_with_time(tmp_path, clock):
    counting = rates(tmp_path, uploads_per_hour=6)
    assert taken(counting, "uploads", "192.0.2.1", 20) == 6
    with pytest.raises(TooMany) as refused:
        counting.take("uploads", "192.0.2.1")
    assert refused.value.retry_s == 600
    assert "10 min" in str(refused.value)
    clock["s"] += 599
    assert taken(counting, "uploads", "192.0.2.1", 20) == 0
    clock["s"] += 2
    assert taken(counting, "uploads", "192.0.2.1", 20) == 1
    clock["s"] += 3600
    assert taken(counting, "uploads", "192.0.2.1", 20) == 6


def test_one_rule_and_one_address_cost_no_other(tmp_path, clock):
    counting = rates(tmp_path, uploads_per_hour=2, trials_per_hour=3)
    assert taken(counting, "uploads", "192.0.2.1", 9) == 2
    assert taken(counting, "trials", "192.0.2.1", 9) == 3
    assert taken(counting, "uploads", "192.0.2.2", 9) == 2


def test_an_ipv6_network_counts_as_one(tmp_path, clock):
    counting = rates(tmp_path, uploads_per_hour=2)
    assert taken(counting, "uploads", "2001:db8:1:2::1", 1) == 1
    assert taken(counting, "uploads", "2001:db8:1:2:ffff::9", 9) == 1
    assert taken(counting, "uploads", "2001:db8:1:3::1", 9) == 2
    assert network_of("::ffff:192.0.2.1") == network_of("192.0.2.1") == "192.0.2.1"
    assert network_of("fe80::1%eth0") == "fe80::/64"
    assert network_of(None) == network_of("nonsense") == "unknown"


def test_bytes_are_counted_as_bytes_and_one_large_file_is_never_shut_out(tmp_path, clock):
    counting = rates(tmp_path, upload_bytes_per_hour=100)
    counting.take("bytes", "192.0.2.1", 60)
    with pytest.raises(TooMany):
        counting.take("bytes", "192.0.2.1", 60)
    counting.take("bytes", "192.0.2.1", 40)
    counting.take("bytes", "192.0.2.2", 500)


def _take_many(folder, barrier, done):
    counting = rates(folder, uploads_per_hour=30)
    barrier.wait(60)
    done.put(taken(counting, "uploads", "192.0.2.1", 30))


def test_four_processes_share_one_allowance(tmp_path):
    context = multiprocessing.get_context("spawn")
    barrier, done = context.Barrier(4), context.Queue()
    workers = [context.Process(target=_take_many, args=(tmp_path, barrier, done)) for _ in range(4)]
    for worker in workers:
        worker.start()
    assert 30 <= sum(done.get(timeout=120) for _ in workers) <= 31  # one may come back while they run
    for worker in workers:
        worker.join(60)


def test_no_address_is_kept_and_what_counts_no_longer_is_forgotten(tmp_path, clock):
    counting = rates(tmp_path, uploads_per_hour=60)
    counting.take("uploads", "192.0.2.77")
    assert b"192.0.2.77" not in b"".join(path.read_bytes() for path in tmp_path.iterdir())
    clock["s"] += 3601
    counting.take("uploads", "192.0.2.78")
    shared = counting._shared
    assert shared.ask(lambda table: table.execute("SELECT count(*) FROM rate").fetchone()[0], None) == 1


def test_a_damaged_or_missing_table_is_made_anew(tmp_path):
    (tmp_path / "counts.sqlite3").write_bytes(b"not a database" * 100)
    assert taken(rates(tmp_path, uploads_per_hour=2), "uploads", "192.0.2.1", 9) == 2


# --- room


def test_bodies_beyond_the_room_are_refused_until_others_are_gone():
    bodies = Bodies(100)
    bodies.take(60)
    with pytest.raises(Crowded, match="try again"):
        bodies.take(60)
    bodies.give_back(60)
    bodies.take(60)


def test_a_full_disk_and_a_full_quota_are_refused_before_anything_is_kept(tmp_path, monkeypatch):
    (tmp_path / "file").write_bytes(bytes(3 * MB))
    room = Room(tmp_path, Limits(data_bytes=4 * MB, free_bytes=1))
    room.check(MB // 2)
    with pytest.raises(OverQuota, match="keeps 4 MB at most"):
        room.check(MB)
    monkeypatch.setattr(limits_room.time, "monotonic", lambda now=time.monotonic: now() + 60)
    room.check(MB)  # looked again: what was added up did not come, it had been refused for another reason
    with pytest.raises(OverQuota, match="nearly full"):
        Room(tmp_path, Limits(free_bytes=10**18)).check()


# --- as the page meets it


@pytest.fixture
def crowd(tmp_path, counter):
    """A public server that takes little."""
    settings = public_settings(
        tmp_path / "kept", UPLOADS_PER_HOUR="4", TRIALS_PER_HOUR="1", OWNER_TRIES_PER_HOUR="3", REQUESTS_PER_S="3"
    )
    app = create_app(settings, engine=counter.engine())
    yield app.server.test_client()
    app.server.config[CONFIG_KEY].close()


def test_the_fifth_upload_of_four_is_429_with_when_to_come_back(crowd):
    answers = [send_publicly(crowd, b"power 200", "a.line") for _ in range(5)]
    assert [answer.status_code for answer in answers] == [200] * 4 + [429]
    assert int(answers[-1].headers["Retry-After"]) > 60
    assert "try again in" in answers[-1].get_json()["error"]
    assert send_publicly(crowd, b"power 200", "a.line", "192.0.2.8").status_code == 200
    spoofed = from_address("198.51.100.1, 192.0.2.7")  # the proxy adds the true one behind what was sent
    assert crowd.post("/upload", data=b"power 200", headers=spoofed).status_code == 429


def test_new_trials_owner_links_and_requests_have_their_own_limits(crowd):
    sent = [send_publicly(crowd, f"power {200 + i}".encode(), f"{i}.line").get_json() for i in range(2)]
    body = {"recordings": [{"id": one["id"], "name": one["name"]} for one in sent]}
    answers = [crowd.post("/trials", json=body, headers=from_address("192.0.2.7")) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 429]
    tries = [crowd.get(links.owner_path("t" * 32, "k" * 43), headers=from_address("192.0.2.7")) for _ in range(4)]
    assert [answer.status_code for answer in tries] == [404, 404, 404, 429]
    pages = [crowd.get("/", headers=from_address("192.0.2.9")).status_code for _ in range(40)]
    assert pages[:30] == [200] * 30
    assert 429 in pages
    assert crowd.get("/assets/favicon.ico", headers=from_address("192.0.2.9")).status_code == 200


def test_at_home_nothing_is_counted(settings, counter):
    app = create_app(replace(settings, limits=Limits(uploads_per_hour=1)), engine=counter.engine())
    client = app.server.test_client()
    assert {send(client, b"power 200", "a.line").status_code for _ in range(4)} == {200}
    app.server.config[CONFIG_KEY].close()


def test_no_room_is_507_and_nothing_is_kept(settings, counter):
    app = create_app(replace(settings, limits=Limits(free_bytes=10**18)), engine=counter.engine())
    answer = send(app.server.test_client(), b"power 200", "a.line")
    assert (answer.status_code, counter.reads) == (507, [])
    assert "nearly full" in answer.get_json()["error"]
    app.server.config[CONFIG_KEY].close()


def test_a_body_without_a_length_is_not_waited_for(client):
    headers = {"X-Requested-With": "countercheck", "Origin": "http://localhost", "Transfer-Encoding": "chunked"}
    answer = client.post("/upload", headers=headers, environ_overrides={"CONTENT_LENGTH": ""})
    assert answer.status_code == 411


@pytest.fixture
def small_server(tmp_path):
    """waitress on a real socket, with room for 3 MB of bodies."""
    settings = Settings(data_dir=tmp_path, cache_dir=tmp_path / "results", port=0, limits=Limits(bodies_bytes=3 * MB))
    server = Server(settings)
    thread = threading.Thread(target=server._listener.run, daemon=True)
    thread.start()
    yield server
    server.close()
    thread.join(20)


def _half_sent(server, n_bytes: int) -> http.client.HTTPConnection:
    connection = http.client.HTTPConnection(server.address.partition("://")[2], timeout=30)
    connection.putrequest("POST", "/upload")
    for name, value in {
        "Content-Length": str(n_bytes), "X-Requested-With": "countercheck", "Origin": server.address, "X-File-Name": "a.csv",
    }.items():  # fmt: skip
        connection.putheader(name, value)
    connection.endheaders(b"x" * 1000)
    return connection


def _held(server, n_bytes: int) -> None:
    end = time.monotonic() + 20
    while server.services.gate.bodies.held_bytes != n_bytes:
        assert time.monotonic() < end, server.services.gate.bodies.held_bytes
        time.sleep(0.01)


def test_bodies_that_still_arrive_count_and_room_comes_back_when_a_connection_is_lost(small_server):
    first = _half_sent(small_server, 2 * MB)
    _held(small_server, 2 * MB)
    second = _half_sent(small_server, 2 * MB)
    refused = second.getresponse()
    assert (refused.status, int(refused.headers["Retry-After"]) > 0) == (503, True)
    assert "try again" in json.load(refused)["error"]
    first.close()  # whoever sent it went away
    _held(small_server, 0)
    third = _half_sent(small_server, 2 * MB)
    third.send(b"x" * (2 * MB - 1000))
    answer = third.getresponse()
    assert answer.status == 422  # read, and no recording
    assert "a.csv" in json.load(answer)["error"]
    _held(small_server, 0)
