"""Several workers over one data folder. Referees: gunicorn with four workers, the process numbers in its log, the files it kept.

The same log is searched for what must not be in it.
"""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from serving_public import SECRET, public_environment

from app.logs import SECRET_LIKE, network_of, without_secrets

ROOT = Path(__file__).resolve().parents[2]
ROWS = "time,power,cadence\n" + "\n".join(f"{1_768_673_100 + t},{200 + t % 7},{88 + t % 3}" for t in range(600))
ADDRESS = "198.51.100.77"
pytestmark = pytest.mark.skipif(os.name != "posix", reason="gunicorn runs on POSIX systems")


class Site:
    def __init__(self, port: int, process: subprocess.Popen, log: Path) -> None:
        self.port, self.process, self.log = port, process, log
        self.cookies: dict[str, str] = {}

    def ask(self, method: str, path: str, body=None, **headers: str):
        """One request on a connection of its own, so that any worker may get it; status, text, number of the worker."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        ours = {
            "Host": "rides.example", "Origin": "https://rides.example", "X-Requested-With": "countercheck",
            "X-Forwarded-For": ADDRESS, "Connection": "close", "Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items()),
        }  # fmt: skip
        connection.request(method, path, body=body, headers=ours | headers)
        answer = connection.getresponse()
        text = answer.read().decode()
        for cookie in answer.headers.get_all("Set-Cookie") or []:
            name, value = cookie.split(";")[0].split("=", 1)
            self.cookies[name] = value
        connection.close()
        return answer.status, text, answer.headers.get("X-Request-Id")

    def lines(self) -> list[dict]:
        return [json.loads(line) for line in self.log.read_text().splitlines() if line.startswith("{")]


@contextmanager
def running(folder: Path, command: list[str]) -> Iterator[Site]:
    """A public server of its own process over a fresh data folder; `PORT` in the command is a free one."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    env = os.environ | public_environment(folder / "kept") | {"PYTHONPATH": os.pathsep.join([str(ROOT), *sys.path])}
    env |= {"COUNTERCHECK_READERS": "1"}
    log = folder / "log"
    with log.open("w") as out:
        words = [word.replace("PORT", str(port)) for word in command]
        process = subprocess.Popen(words, env=env, stdout=out, stderr=out, cwd=ROOT)
    opened = Site(port, process, log)
    end = time.monotonic() + 120
    try:
        while True:
            try:
                if opened.ask("GET", "/healthz")[0] == 200:
                    break
            except OSError:
                pass
            assert process.poll() is None and time.monotonic() < end, log.read_text()
            time.sleep(0.2)
        yield opened
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(60)


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    command = [
        sys.executable, "-m", "gunicorn", "--workers", "4", "--worker-class", "gthread", "--threads", "2",
        "--bind", "127.0.0.1:PORT", "--log-level", "warning", "app.wsgi:application",
    ]  # fmt: skip
    with running(tmp_path_factory.mktemp("workers"), command) as opened:
        yield opened


def test_any_worker_answers_any_step_and_each_result_is_computed_once(site):
    files = []
    for i in range(3):
        body = (ROWS + f"\n{1_768_673_800 + i},200,90").encode()
        status, text, _ = site.ask("POST", "/upload", body, **{"X-File-Name": f"Anna%20Example%20{i}.csv"})
        assert status == 200, text
        files.append({"id": json.loads(text)["id"], "name": json.loads(text)["name"]})
    status, text, _ = site.ask("POST", "/trials", json.dumps({"recordings": files}), **{"Content-Type": "application/json"})
    assert status == 201, text
    path = json.loads(text)["path"]
    end = time.monotonic() + 120
    while True:
        status, text, _ = site.ask("GET", f"{path}/result.json")
        if status != 503:
            break
        assert time.monotonic() < end
        time.sleep(0.1)
    assert status == 200, text
    answers = {site.ask("GET", f"{path}/result.json")[1] for _ in range(12)}
    assert len(answers) == 1
    assert site.ask("GET", f"{path}/everything.zip".replace("zip", "nothing"))[0] == 404
    assert {site.ask("GET", path)[0] for _ in range(8)} == {200}
    lines = site.lines()
    assert len({line["pid"] for line in lines if "pid" in line}) >= 3
    computed = [line for line in lines if line["said"].startswith("analysed")]
    assert len(computed) == 1, computed


def test_nothing_private_is_in_the_log(site):
    key = next(value for name, value in site.cookies.items() if "owner" in name)
    site.ask("GET", "/own/" + "t" * 32 + "/" + key)
    site.ask("GET", "/trial/" + "t" * 32 + "?from=1&to=2")
    text = site.log.read_text()
    assert text.count("\n") > 10
    for private in (key, SECRET, "Anna", ADDRESS, "t" * 32):
        assert private not in text
    assert not SECRET_LIKE.search(re.sub(r'"(utc|request|by)": "[^"]*"', "", text))
    answered = [line for line in site.lines() if line["said"] == "answered"]
    assert {"request", "method", "route", "status", "ms", "bytes_in", "bytes_out", "from", "pid"} <= set(answered[-1])
    assert "198.51.100.0/24" in {line["from"] for line in answered}
    assert {"/own/<trial_id>/<owner_key>", "/upload", "/trials"} <= {line["route"] for line in answered}


def test_a_request_has_its_number_in_the_answer_and_in_the_log(site):
    number = site.ask("GET", "/")[2]
    assert re.fullmatch(r"[0-9a-f]{16}", number)
    end = time.monotonic() + 10
    while not [line for line in site.lines() if line.get("request") == number and line["said"] == "answered"]:
        assert time.monotonic() < end
        time.sleep(0.05)


def test_health_tells_a_visitor_nothing_but_whether_it_is_well(site):
    status, text, _ = site.ask("GET", "/healthz", **{"Host": "10.0.0.1"})
    assert (status, json.loads(text)) == (200, {"ok": True})


def test_a_server_that_must_not_start_says_why_without_a_traceback(tmp_path):
    env = os.environ | public_environment(tmp_path / "kept", SECRET_KEY="", PROXIES="")
    env |= {"PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, "-m", "gunicorn", "--bind", "127.0.0.1:0", "app.wsgi:make()"]
    done = subprocess.run(command, env=env, capture_output=True, text=True, timeout=120, cwd=ROOT)
    assert done.returncode != 0
    assert "COUNTERCHECK_SECRET_KEY is not set" in done.stderr
    assert "COUNTERCHECK_PROXIES is not set" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("address", "network"),
    [
        ("198.51.100.77", "198.51.100.0/24"), ("2001:db8:1:2::3", "2001:db8:1::/48"), ("::ffff:192.0.2.9", "192.0.2.0/24"),
        (None, "unknown"),
    ],
)
def test_an_address_is_told_by_its_network(address, network):
    assert network_of(address) == network


def test_what_could_be_a_key_is_cut_short():
    assert without_secrets("see /own/" + "a" * 32 + "/" + "B" * 43) == "see /own/aaaa…/BBBB…"
    assert without_secrets("in 12 ms") == "in 12 ms"
