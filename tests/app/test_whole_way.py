"""Server, store and the real analysis together. Referee: the command line's result for the same files, to the byte."""

from __future__ import annotations

import json
from urllib.parse import quote

import pytest
from asking import OURS, settled

from analysis.reading import read
from analysis.setup import setup_from_toml
from app import cli, links
from app.jobs import Jobs, Ready
from app.main import create_app
from app.places import sample_dir
from app.services import CONFIG_KEY

FILES = ("hub.fit", "spider.fit", "pedals.fit")


@pytest.fixture
def real_app(settings):
    made = create_app(settings)
    yield made
    made.server.config[CONFIG_KEY].jobs.close()
    made.server.config[CONFIG_KEY].store.close()


def test_files_sent_to_the_page_give_what_the_command_line_gives(real_app, tmp_path):
    client, services = real_app.server.test_client(), real_app.server.config[CONFIG_KEY]
    setup = setup_from_toml((sample_dir() / "setup.toml").read_text(encoding="utf-8"))
    sent = []
    for name in FILES:
        data = (sample_dir() / name).read_bytes()
        answer = client.post("/upload", data=data, headers=OURS | {"X-File-Name": quote(name)})
        assert answer.status_code == 200, answer.text
        sent.append(answer.get_json())
    assert [s["point_guess"] for s in sent] == ["hub", "spider", "pedal"]
    body = {"recordings": [{"id": s["id"], "name": s["name"]} for s in sent], "setup": setup.to_dict()}
    trial_id = client.post("/trials", json=body, headers=OURS).get_json()["id"]
    assert isinstance(settled(services.jobs, trial_id, within_s=120), Ready)
    downloaded = client.get(links.result_path(trial_id)).get_json()

    out = tmp_path / "o.json"
    paths = [str(sample_dir() / name) for name in FILES]
    assert cli.main(["compare", *paths, "--setup", str(sample_dir() / "setup.toml"), "--json", str(out)]) == 0
    assert downloaded == json.loads(out.read_text(encoding="utf-8"))


def test_a_lost_cache_gives_the_same_bytes_again(real_app):
    services = real_app.server.config[CONFIG_KEY]
    store = services.store
    pairs = [(store.put_recording(read((sample_dir() / name).read_bytes(), name=name)), name) for name in FILES]
    trial_id = store.create_trial(pairs, setup_from_toml((sample_dir() / "setup.toml").read_text())).trial_id
    key = f"result:{services.jobs.key_of(store.trial(trial_id))}"
    assert isinstance(settled(services.jobs, trial_id, within_s=120), Ready)
    first = store.results.get(key)
    store.results.clear()
    restarted = Jobs(store)
    assert isinstance(settled(restarted, trial_id, within_s=120), Ready)
    assert store.results.get(key) == first
    restarted.close()


def texts(tree) -> list[str]:
    if isinstance(tree, dict):
        return [t for value in tree.values() for t in texts(value)]
    if isinstance(tree, list):
        return [t for value in tree for t in texts(value)]
    return [tree] if isinstance(tree, str) else []


def test_the_page_of_a_finished_trial_shows_its_headline_at_once(real_app):
    # Dash's own routing callback, asked over HTTP as the browser asks it; the rest is tested in a browser
    client = real_app.server.test_client()
    path = client.get("/demo").headers["Location"]
    answer = settled(real_app.server.config[CONFIG_KEY].jobs, links.parse(path).trial_id, within_s=120)
    children, store = (
        {"id": "_pages_content", "property": "children"},
        {"id": "_pages_store", "property": "data"},
    )
    body = {
        "output": ".._pages_content.children..._pages_store.data..",
        "outputs": [children, store],
        "inputs": [
            {"id": "_pages_location", "property": "pathname", "value": path},
            {"id": "_pages_location", "property": "search", "value": "?from=600.0&to=900.0"},
        ],
        "changedPropIds": ["_pages_location.pathname"],
        "state": [],
    }
    page = texts(client.post("/_dash-update-component", json=body).get_json())
    shown = "".join(page).replace("\u202f", " ").replace("\u00a0", " ")  # numbers and units are held together on the page
    for clause in answer.open_trial.report["headline"].replace("\u202f", " ").split("; ", 1):  # the first stands out
        assert clause in shown
