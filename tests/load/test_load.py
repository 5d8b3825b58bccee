"""Many readers at once. Referee: every status; the time that answers took is printed, nothing is asserted about it.

`pytest tests/load -m load -s` has fifty readers scrub for a minute while five people upload; the small one runs with the suite.
"""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import statistics
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from serving_public import public_environment

from app.places import sample_dir

ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.skipif(os.name != "posix", reason="gunicorn runs on POSIX systems")
PAUSE_S = 0.5  # between two drags of one reader
JSON = {"Content-Type": "application/json"}


class Visitor:
    """One address, one connection."""

    def __init__(self, port: int, number: int) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self._headers = {
            "Host": "rides.example", "Origin": "https://rides.example", "X-Requested-With": "countercheck",
            "X-Forwarded-For": f"10.0.{number // 250}.{number % 250 + 1}",
        }  # fmt: skip

    def ask(self, method: str, path: str, body=None, **headers: str) -> tuple[int, bytes, float]:
        began_s = time.perf_counter()
        self._connection.request(method, path, body=body, headers=self._headers | headers)
        answer = self._connection.getresponse()
        data = answer.read()
        return answer.status, data, time.perf_counter() - began_s

    def drag(self, trial_id: str, start_s: float) -> tuple[int, bytes, float]:
        """What the page sends at the end of a drag over five minutes."""
        window = {"id": "trial-window", "property": "data", "value": [start_s, start_s + 300.0]}
        body = {
            "output": "interval-card.data-html", "outputs": {"id": "interval-card", "property": "data-html"},
            "inputs": [window, {"id": "trial-screen", "property": "data", "value": None}],
            "state": [{"id": "trial-id", "property": "data", "value": trial_id}],
            "changedPropIds": ["trial-window.data"],
        }  # fmt: skip
        return self.ask("POST", "/_dash-update-component", json.dumps(body), **JSON)

    def upload(self, path: Path) -> tuple[int, bytes, float]:
        return self.ask("POST", "/upload", path.read_bytes(), **{"X-File-Name": path.name})


@pytest.fixture(scope="module")
def port(tmp_path_factory):
    folder = tmp_path_factory.mktemp("load")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        number = free.getsockname()[1]
    env = os.environ | public_environment(folder / "kept") | {"PYTHONPATH": os.pathsep.join([str(ROOT), *sys.path])}
    command = [
        sys.executable, "-m", "gunicorn", "--workers", "2", "--worker-class", "gthread", "--threads", "8", "--keep-alive", "30",
        "--bind", f"127.0.0.1:{number}", "--log-level", "warning", "app.wsgi:make()",
    ]  # fmt: skip
    with (folder / "log").open("w") as log:
        process = subprocess.Popen(command, env=env, stdout=log, stderr=log, cwd=ROOT)
    end = time.monotonic() + 120
    while not _well(number):
        assert process.poll() is None and time.monotonic() < end
        time.sleep(0.2)
    yield number
    process.send_signal(signal.SIGTERM)
    process.wait(60)


def _well(port: int) -> bool:
    try:
        return Visitor(port, 0).ask("GET", "/healthz")[0] == 200
    except OSError:
        return False


def new_trial(port: int) -> str:
    owner, files = Visitor(port, 0), []
    for path in sorted(sample_dir().glob("*.fit")):
        status, data, _ = owner.upload(path)
        assert status == 200, data
        files.append({"id": json.loads(data)["id"], "name": path.name})
    trial_id = json.loads(owner.ask("POST", "/trials", json.dumps({"recordings": files}), **JSON)[1])["id"]
    end = time.monotonic() + 120
    while owner.ask("GET", f"/trial/{trial_id}/result.json")[0] == 503:
        assert time.monotonic() < end
        time.sleep(0.2)
    return trial_id


def crowd(port: int, *, readers: int, uploaders: int, for_s: float) -> tuple[list[float], list[float], list]:
    """Seconds of each answer to a drag and to an upload, and whatever was not answered well."""
    trial_id, hub = new_trial(port), sample_dir() / "hub.fit"
    until_s = time.monotonic() + for_s
    drags: list[float] = []
    uploads: list[float] = []
    wrong: list = []

    def read(number: int) -> None:
        visitor, tries = Visitor(port, 10 + number), 0
        time.sleep(PAUSE_S * number / readers)
        while time.monotonic() < until_s:
            status, data, took_s = visitor.drag(trial_id, 10.0 + (37 * number + 61 * tries) % 3000)
            drags.append(took_s)
            wrong.extend([] if status == 200 and b"delta" in data else [(status, data[:200])])
            tries += 1
            time.sleep(PAUSE_S)

    def send(number: int) -> None:
        visitor = Visitor(port, 100 + number)
        while time.monotonic() < until_s:
            status, data, took_s = visitor.upload(hub)
            uploads.append(took_s)
            wrong.extend([] if status == 200 else [(status, data[:200])])
            time.sleep(max(1.0, for_s / 20))

    def minded(act, number: int) -> None:
        try:
            act(number)
        except Exception as problem:
            wrong.append(repr(problem))

    threads = [threading.Thread(target=minded, args=(read, i)) for i in range(readers)]
    threads += [threading.Thread(target=minded, args=(send, i)) for i in range(uploaders)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return drags, uploads, wrong


def test_a_few_readers_and_an_upload_are_all_answered(port):
    drags, uploads, wrong = crowd(port, readers=6, uploaders=1, for_s=3.0)
    assert wrong == []
    assert len(drags) >= 6 and uploads


@pytest.mark.load
def test_fifty_readers_and_five_uploads_are_all_answered(port):
    load = os.getloadavg()[0]
    drags, uploads, wrong = crowd(port, readers=50, uploaders=5, for_s=60.0)
    for name, took in (("drags", drags), ("uploads", uploads)):
        cuts = statistics.quantiles(took, n=100)
        print(f"\n{name}: {len(took)}, p50 {1000 * cuts[49]:.0f} ms, p95 {1000 * cuts[94]:.0f} ms (load before: {load:.1f})")
    assert wrong == []
    assert len(drags) > 1000
