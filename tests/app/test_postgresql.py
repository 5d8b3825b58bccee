"""What only a server of its own can do to us: refuse, go away, come back, hold another encoding or an older schema. Referee: a
real PostgreSQL."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace

import psycopg
import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from asking import make
from postgres import PASSWORD, ROLE, fill, running_cluster
from test_migrations import HIDDEN, KEPT, KEYS, OPEN, OPENER

from app.links import trial_path
from app.main import create_app
from app.services import CONFIG_KEY
from app.settings import Settings
from app.store import DatabaseAway, Store, UnusableStore, schema
from app.store.migrations import is_current


@pytest.fixture
def at(tmp_path, cluster):
    """`at(url or None)`: settings for that database, or for a fresh one."""

    def made(url: str | None = None) -> Settings:
        own = Settings.from_environment(data_dir=tmp_path / "data", environ={})
        return replace(own, database_url=url or cluster.url(cluster.new_database()))

    return made


def test_after_every_migration_the_tables_are_those_of_the_models(at):
    store = Store(at())
    with store._database.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), schema.metadata) == []
        assert is_current(connection)
    store.close()


def test_an_older_schema_is_taken_over_by_one_of_several_processes(at):
    settings = at()
    fill(settings.database_url, (KEPT / "schema-1.sql").read_text())
    env = os.environ | {"COUNTERCHECK_DATABASE_URL": settings.database_url}
    code = OPENER.replace("environ={}", "")
    command = [sys.executable, "-c", code, str(settings.data_dir), OPEN]
    workers = [subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env) for _ in range(3)]
    told = [worker.communicate(timeout=120) for worker in workers]
    assert [worker.returncode for worker in workers] == [0] * 3, told
    store = Store(settings)
    assert [store.trial(one).deltas_hidden for one in (OPEN, HIDDEN)] == [False, True]
    assert all(store.owner_of(OPEN, key) for key in KEYS)
    with store._database.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM reader_link").scalar() == 2
    store.close()


def test_a_database_of_a_newer_program_is_refused(at):
    settings = at()
    Store(settings).close()
    with psycopg.connect(settings.database_url) as connection:
        connection.execute("UPDATE schema_version SET version = 99")
    with pytest.raises(UnusableStore, match=r"newer countercheck .*update the program"):
        Store(settings)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"password": "swordfish"}, r"refused user name or password .*COUNTERCHECK_DATABASE_URL"),
        ({"name": "nowhere"}, r"cannot be used .*\"nowhere\" does not exist"),
        ({"port": "1"}, r"cannot be used .*see that it runs"),
    ],
)
def test_what_is_wrong_at_the_start_is_one_sentence_without_the_password(at, cluster, wrong, words, caplog):
    name = wrong.get("name") or cluster.new_database()
    url = cluster.url(name, **{k: v for k, v in wrong.items() if k == "password"})
    url = url.replace(f":{cluster.port}/", f":{wrong.get('port', cluster.port)}/")
    with pytest.raises(UnusableStore, match=words) as told:
        Store(at(url))
    assert "\n" not in str(told.value)
    for text in (str(told.value), caplog.text):
        assert PASSWORD not in text
        assert "swordfish" not in text


@pytest.mark.parametrize(
    ("url", "words"), [("mysql://a:b@c/d", "names a mysql database"), ("just words", "is not an address of a database")]
)
def test_an_address_of_something_else_is_named(at, url, words):
    with pytest.raises(UnusableStore, match=words):
        Store(at(url))


@pytest.mark.parametrize("encoding", ["SQL_ASCII", "LATIN1"])
def test_a_database_that_cannot_hold_every_name_is_refused(at, cluster, encoding):
    name = cluster.new_database(f"ENCODING '{encoding}' TEMPLATE template0")
    with pytest.raises(UnusableStore, match=f"encoded as {encoding}"):
        Store(at(cluster.url(name)))


def test_without_the_driver_the_sentence_says_what_to_install(at):
    code = (
        "import sys; sys.modules['psycopg'] = None\n"
        "from app.settings import Settings; from app.store import Store, UnusableStore\n"
        "try: Store(Settings.from_environment(data_dir=sys.argv[1]))\n"
        "except UnusableStore as problem: print(problem)"
    )
    env = os.environ | {"COUNTERCHECK_DATABASE_URL": f"postgresql://{ROLE}@127.0.0.1/x"}
    told = subprocess.run([sys.executable, "-c", code, str(at("x").data_dir)], capture_output=True, text=True, env=env)
    assert "countercheck[postgres]" in told.stdout, told.stderr


def test_a_server_that_goes_away_is_a_503_and_comes_back_without_a_restart(tmp_path, counter, caplog):
    """A cluster of its own: the others go on with theirs."""
    with running_cluster() as own:
        url = own.url(own.new_database())
        settings = replace(Settings.from_environment(data_dir=tmp_path / "data", environ={}), database_url=url)
        app = create_app(settings, engine=counter.engine())
        client, services = app.server.test_client(), app.server.config[CONFIG_KEY]
        trial_id = make(client, b"power 200", b"power 205").get_json()["id"]
        own.stop()
        with pytest.raises(DatabaseAway, match="does not answer and nothing was changed"):
            services.store.trial(trial_id)
        for path in (trial_path(trial_id), f"{trial_path(trial_id)}/result.json"):
            answer = client.get(path)
            assert answer.status_code == 503
            assert "database does not answer" in answer.text
            assert "Traceback" not in answer.text
            assert int(answer.headers["Retry-After"]) > 0
        browser = client.get(trial_path(trial_id), headers={"Accept": "text/html,application/xhtml+xml,*/*;q=0.8"})
        assert (browser.status_code, browser.mimetype) == (503, "text/html")
        assert "<p>The server&#x27;s database does not answer" in browser.text
        assert PASSWORD not in caplog.text
        own.start()
        assert client.get(trial_path(trial_id)).status_code == 200
        services.jobs.close()
        services.store.close()
