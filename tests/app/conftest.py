from __future__ import annotations

import time
from dataclasses import dataclass, replace
from urllib.parse import quote

import pretend
import pytest

from analysis.setup import Setup
from app.jobs import Jobs, Working
from app.main import create_app
from app.services import CONFIG_KEY
from app.settings import Settings
from app.store import Store

# What the page sends with an upload: a header no form can set, and where it comes from.
OURS = {"X-Requested-With": "countercheck", "Origin": "http://localhost"}


@pytest.fixture
def settings(tmp_path) -> Settings:
    return Settings.from_environment(data_dir=tmp_path / "data", environ={})


@pytest.fixture
def store(settings):
    opened = Store(settings)
    yield opened
    opened.close()


@pytest.fixture
def counter() -> pretend.Counter:
    return pretend.Counter()


@dataclass
class Bench:
    """A store with jobs, and short words for what the tests do with them."""

    settings: Settings
    store: Store
    jobs: Jobs
    counter: pretend.Counter

    def trial(self, *files: bytes, names: tuple[str, ...] | None = None, setup: Setup | None = None) -> str:
        files = files or (b"power 200", b"power 205")
        names = names or tuple(f"{'abcdefgh'[i]}.line" for i in range(len(files)))
        pairs = [(self.store.put_blob(data), name) for data, name in zip(files, names, strict=True)]
        return self.store.create_trial(pairs, setup or Setup()).trial_id

    def result_bytes(self, trial_id: str) -> bytes | None:
        return self.store.results.get(f"result:{self.jobs.key_of(self.store.trial(trial_id))}")


@pytest.fixture
def bench(settings, store, counter):
    jobs = Jobs(store, counter.engine())
    yield Bench(settings, store, jobs, counter)
    counter.gate.set()
    jobs.close()


def settled(jobs: Jobs, trial_id: str, *, within_s: float = 20.0):
    """Ask until the answer is final; the bound only ends a hung test."""
    end = time.monotonic() + within_s
    answer = jobs.ask(trial_id)
    while isinstance(answer, Working) and time.monotonic() < end:
        time.sleep(0.01)
        answer = jobs.ask(trial_id)
    return answer


@pytest.fixture
def app(settings, counter):
    made = create_app(replace(settings, max_file_bytes=200_000), engine=counter.engine())
    yield made
    counter.gate.set()
    made.server.config[CONFIG_KEY].jobs.close()
    made.server.config[CONFIG_KEY].store.close()


@pytest.fixture
def services(app):
    return app.server.config[CONFIG_KEY]


@pytest.fixture
def client(app):
    return app.server.test_client()


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
