from __future__ import annotations

import time
from dataclasses import dataclass

import pretend
import pytest

from analysis.setup import Setup
from app.jobs import Jobs, Working
from app.settings import Settings
from app.store import Store


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
