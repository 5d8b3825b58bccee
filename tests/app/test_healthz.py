"""`/healthz`. Referees: a database that is gone, a folder that cannot be written, a full line, what a visitor is told."""

from __future__ import annotations

from dataclasses import replace

import pytest
from serving_public import from_address, public_settings

from app import health
from app.limits import Limits
from app.main import create_app
from app.services import CONFIG_KEY


@pytest.fixture(autouse=True)
def fresh(monkeypatch):
    monkeypatch.setattr(health, "KEPT_S", 0.0)


def test_all_is_well_at_home_with_each_check_told(client):
    answer = client.get("/healthz")
    checks = {"database": True, "folder": True, "disk": True, "queue": True}
    assert (answer.status_code, answer.get_json()) == (200, {"ok": True, "checks": checks})
    assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("part", ["database", "folder", "queue"])
def test_what_does_not_work_is_503_and_named(client, services, monkeypatch, part):
    def broken(*_):
        raise OSError("gone, with a path /var/keep")

    if part == "database":
        monkeypatch.setattr(services.store, "trial", broken)
    elif part == "folder":
        monkeypatch.setattr(health, "_writable", broken)
    else:
        monkeypatch.setattr(services.jobs, "full", lambda: True)
    answer = client.get("/healthz")
    assert answer.status_code == 503
    assert [name for name, ok in answer.get_json()["checks"].items() if not ok] == [part]
    assert "/var/keep" not in answer.text


def test_too_little_disk_is_not_well(settings, counter):
    app = create_app(replace(settings, limits=Limits(free_bytes=10**18)), engine=counter.engine())
    assert app.server.test_client().get("/healthz").get_json()["checks"]["disk"] is False
    app.server.config[CONFIG_KEY].close()


def test_a_visitor_is_told_no_details_and_may_ask_by_any_name(tmp_path, counter):
    app = create_app(public_settings(tmp_path / "kept"), engine=counter.engine())
    answer = app.server.test_client().get("/healthz", headers=from_address("192.0.2.1") | {"Host": "10.1.2.3"})
    assert (answer.status_code, answer.get_json()) == (200, {"ok": True})
    app.server.config[CONFIG_KEY].close()
