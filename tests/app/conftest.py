from __future__ import annotations

from dataclasses import dataclass, replace

import parcels
import pretend
import pytest
from postgres import running_cluster

from analysis.setup import Setup
from app.jobs import Jobs
from app.main import create_app
from app.services import CONFIG_KEY
from app.settings import Settings
from app.store import Store


def pytest_generate_tests(metafunc) -> None:
    """Every test of a module that says BOTH_DATABASES runs against SQLite and against a real PostgreSQL."""
    both = getattr(metafunc.module, "BOTH_DATABASES", False)
    only_sqlite = any(mark.name == "sqlite" for mark in metafunc.definition.iter_markers())
    if both and not only_sqlite and "database_url" in metafunc.fixturenames:
        metafunc.parametrize("database_url", ["sqlite", "postgresql"], indirect=True)


@pytest.fixture(scope="session")
def cluster():
    with running_cluster() as running:
        yield running


@pytest.fixture
def database_url(request) -> str | None:
    """None is SQLite in the data folder."""
    if getattr(request, "param", "sqlite") == "sqlite":
        return None
    cluster = request.getfixturevalue("cluster")
    return cluster.url(cluster.new_database())


@pytest.fixture
def settings(tmp_path, database_url) -> Settings:
    return replace(Settings.from_environment(data_dir=tmp_path / "data", environ={}), database_url=database_url)


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
        lines = [b"power 999" if data == b"rubbish" else data for data in files]
        pairs = [(pretend.kept(self.store, line.decode()), name) for line, name in zip(lines, names, strict=True)]
        trial_id = self.store.create_trial(pairs, setup or Setup()).trial_id
        for data, (kept_id, _) in zip(files, pairs, strict=True):
            if data == b"rubbish":  # damaged on disk afterwards
                (self.settings.data_dir / "recordings" / kept_id[:2] / f"{kept_id}.gz").write_bytes(data)
        return trial_id

    def result_bytes(self, trial_id: str) -> bytes | None:
        return self.store.results.get(f"result:{self.jobs.key_of(self.store.trial(trial_id))}")


@pytest.fixture
def bench(settings, store, counter):
    jobs = Jobs(store, counter.engine())
    yield Bench(settings, store, jobs, counter)
    counter.gate.set()
    jobs.close()


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


@pytest.fixture
def elsewhere(tmp_path, counter):
    """Another server with an empty store."""
    made = create_app(Settings.from_environment(data_dir=tmp_path / "elsewhere", environ={}), engine=counter.engine())
    yield made
    made.server.config[CONFIG_KEY].jobs.close()
    made.server.config[CONFIG_KEY].store.close()


@pytest.fixture
def carried_trial(client, services) -> str:
    """A trial of the client's own, with a history worth taking along."""
    return parcels.made_with_history(client, services.store)
