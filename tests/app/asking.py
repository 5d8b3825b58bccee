"""Asking the server and the jobs as the page does, until the answer is final."""

from __future__ import annotations

import time
from urllib.parse import quote

from app.jobs import Jobs, Working

# What the page sends with an upload: a header no form can set, and where it comes from.
OURS = {"X-Requested-With": "countercheck", "Origin": "http://localhost"}


def settled(jobs: Jobs, trial_id: str, *, within_s: float = 20.0):
    """Ask until the answer is final; the bound only ends a hung test."""
    end = time.monotonic() + within_s
    answer = jobs.ask(trial_id)
    while isinstance(answer, Working) and time.monotonic() < end:
        time.sleep(0.01)
        answer = jobs.ask(trial_id)
    return answer


def send(client, data: bytes, name: str, **headers):
    return client.post("/upload", data=data, headers=OURS | {"X-File-Name": quote(name)} | headers)


def make(client, *files: bytes, setup: dict | None = None):
    sent = [send(client, data, f"{'abc'[i]}.line").get_json() for i, data in enumerate(files)]
    recordings = [{"id": s["id"], "name": s["name"]} for s in sent]
    return client.post("/trials", json={"recordings": recordings, "setup": setup or {}}, headers=OURS)


def finished(client, path: str):
    end = time.monotonic() + 20
    answer = client.get(path)
    while answer.status_code == 503 and time.monotonic() < end:
        assert int(answer.headers["Retry-After"]) > 0
        time.sleep(0.02)
        answer = client.get(path)
    return answer
