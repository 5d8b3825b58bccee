"""A trial taken away and opened elsewhere. Referees: page and result of the server it comes from, the file's own bytes."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import replace

from asking import OURS, finished, make, settled
from parcels import NOTES, bring, members_of, taken_away
from test_migrations import content_of
from test_store import files_in

from analysis.edits import Edit
from app import cli, links
from app.carrying import parcel
from app.demo import demo_trial
from app.jobs import Ready
from app.main import create_app
from app.services import CONFIG_KEY
from app.settings import Settings
from app.store import FullDisk, Store


def test_the_owner_takes_away_everything_and_nobody_else_does(client, app, carried_trial):
    answer = taken_away(client, carried_trial)
    assert answer.status_code == 200
    members = members_of(answer.data)
    assert {"manifest.json", "trial.json", "result.json"} < set(members)
    assert sum(name.startswith("recordings/") for name in members) == 3
    stranger = app.server.test_client()
    refused = stranger.get(f"/trial/{carried_trial}/everything.zip")
    assert refused.status_code == 403
    assert "owner" in refused.get_json()["error"]
    assert stranger.get(f"/trial/{'n' * 32}/everything.zip").status_code == 404


def test_the_manifest_names_format_versions_and_a_checksum_of_every_member(client, carried_trial):
    members = members_of(taken_away(client, carried_trial).data)
    manifest = json.loads(members.pop("manifest.json"))
    assert (manifest["format"], manifest["format_version"]) == ("countercheck trial", parcel.FORMAT_VERSION)
    assert manifest["analysis_version"] == "pretended-1"
    assert manifest["program_version"]
    listed = {m["name"]: (m["sha256"], m["n_bytes"]) for m in manifest["members"]}
    assert listed == {name: (hashlib.sha256(data).hexdigest(), len(data)) for name, data in members.items()}


def test_the_same_trial_gives_the_same_bytes(client, carried_trial, services):
    first = taken_away(client, carried_trial).data
    services.store.results.clear()
    services.jobs._kept.clear()
    assert taken_away(client, carried_trial).data == first


def test_no_key_and_no_address_of_the_trial_is_in_it(client, carried_trial, services):
    data = taken_away(client, carried_trial).data
    further = services.store.new_owner_key(carried_trial)
    (key,) = [cookie.value for cookie in client._cookies.values() if cookie.key.startswith("countercheck_owner_")]
    everything = b"".join(members_of(data).values()) + data
    for secret in (carried_trial, key, further, hashlib.sha256(key.encode()).hexdigest()):
        assert secret.encode() not in everything


def test_opened_elsewhere_it_is_the_same_trial_under_a_link_of_its_own(client, carried_trial, services, elsewhere):
    before = finished(client, f"/trial/{carried_trial}/result.json").get_json()
    other = elsewhere.server.test_client()
    answer = bring(other, taken_away(client, carried_trial).data)
    assert answer.status_code == 201
    new_id, store = answer.get_json()["id"], elsewhere.server.config[CONFIG_KEY].store
    assert new_id != carried_trial
    assert finished(other, f"{answer.get_json()['path']}/result.json").get_json() == before
    told = [(v.version, v.created_utc, v.setup) for v in store.history(new_id)]
    assert told == [(v.version, v.created_utc, v.setup) for v in services.store.history(carried_trial)]
    assert store.trial(new_id).setup.frozen_hash == "ab" * 32
    assert store.notes_to_carry(new_id) == list(NOTES)
    assert other.get(f"/trial/{new_id}/everything.zip").status_code == 200  # whoever brought it owns it
    assert elsewhere.server.test_client().get(f"/trial/{new_id}/everything.zip").status_code == 403


def test_taken_away_again_from_there_it_is_the_same_file(client, carried_trial, elsewhere):
    first = taken_away(client, carried_trial).data
    other = elsewhere.server.test_client()
    new_id = bring(other, first).get_json()["id"]
    assert taken_away(other, new_id).data == first


def test_the_built_in_trial_has_the_same_page_on_another_server(tmp_path):
    apps = [create_app(Settings.from_environment(data_dir=tmp_path / name, environ={})) for name in ("here", "there")]
    here, there = (made.server.config[CONFIG_KEY] for made in apps)
    trial_id = demo_trial(here)
    setup = here.store.trial(trial_id).setup
    here.store.change_setup(trial_id, replace(setup, edits=(Edit(action="exclude", at_s=700.0, reason="a gate"),)))
    page = content_of(apps[0], trial_id)
    client = apps[0].server.test_client()
    client.get(links.owner_path(trial_id, here.store.new_owner_key(trial_id)))
    answer = bring(apps[1].server.test_client(), taken_away(client, trial_id).data)
    assert answer.status_code == 201
    assert isinstance(settled(there.jobs, answer.get_json()["id"], within_s=120), Ready)
    arrived = content_of(apps[1], answer.get_json()["id"])
    told = re.search(r'<p class=\\"small\\">This trial was made elsewhere and brought here as a file on .*?</p>', arrived)
    assert "are as the file gave them" in told[0]
    assert arrived.replace(told[0], "") == page  # beside that sentence, which a trial made here does not have
    for services in (here, there):
        services.jobs.close()
        services.store.close()


def test_while_deltas_are_hidden_no_result_goes_along_and_they_stay_hidden_there(client, services, elsewhere):
    trial_id = make(client, b"power 200", b"power 210").get_json()["id"]
    pairs = services.store.trial(trial_id).recordings
    new = services.store.create_trial(pairs, services.store.trial(trial_id).setup, blocks_first=True)
    client.get(links.owner_path(new.trial_id, new.owner_key))
    data = taken_away(client, new.trial_id).data
    members = members_of(data)
    assert "result.json" not in members
    assert b"delta" not in b"".join(text for name, text in members.items() if name == "trial.json")
    other = elsewhere.server.test_client()
    path = bring(other, data).get_json()["path"]
    assert other.get(f"{path}/result.json").status_code == 403


def test_dropped_onto_the_page_it_is_told_as_a_trial_and_nothing_is_kept_yet(client, carried_trial, elsewhere, tmp_path):
    answer = bring(elsewhere.server.test_client(), taken_away(client, carried_trial).data, path="/upload")
    told = answer.get_json()
    assert answer.status_code == 200
    assert told["trial"] == {"title": "Kiln road, “first” go", "recordings": ["a.line", "b.line", "c.line"], "versions": 3,
                             "notes": 2, "deltas_hidden": False}  # fmt: skip
    assert files_in(tmp_path / "elsewhere" / "recordings") == []


def test_another_sites_page_cannot_bring_a_trial(client, carried_trial, elsewhere):
    data = taken_away(client, carried_trial).data
    other = elsewhere.server.test_client()
    assert other.post("/import", data=data).status_code == 403
    assert other.post("/import", data=data, headers=OURS | {"Origin": "http://elsewhere.example"}).status_code == 403


def test_the_command_line_takes_it_in_and_prints_the_owner_link_once(client, carried_trial, tmp_path, capsys):
    file = tmp_path / "mine.zip"
    file.write_bytes(taken_away(client, carried_trial).data)
    assert cli.main(["import", str(file), "--data-dir", str(tmp_path / "new")]) == 0
    owner, reader = capsys.readouterr().out.splitlines()[1:3]
    new_id, key = owner.rpartition("/own/")[2].split("/")
    store = Store(Settings.from_environment(data_dir=tmp_path / "new", environ={}))
    assert store.owner_of(new_id, key)
    assert reader.endswith(f"/trial/{new_id}")
    assert len(store.history(new_id)) == 3
    store.close()


def test_a_file_that_is_no_trial_is_one_sentence_at_the_command_line(tmp_path, capsys):
    (tmp_path / "x.zip").write_bytes(b"rubbish")
    assert cli.main(["import", str(tmp_path / "x.zip"), "--data-dir", str(tmp_path / "new")]) == 2
    told = capsys.readouterr().err.strip()
    assert told.startswith("x.zip is not a whole zip archive")
    assert "\n" not in told
    assert not (tmp_path / "new").exists()


def test_a_full_disk_half_way_leaves_nothing_of_it(client, carried_trial, elsewhere, monkeypatch, tmp_path):
    data = taken_away(client, carried_trial).data
    store = elsewhere.server.config[CONFIG_KEY].store
    real, calls = store.put_recording, []

    def then_full(recording):
        calls.append(recording)
        if len(calls) == 3:
            raise FullDisk()
        return real(recording)

    monkeypatch.setattr(store, "put_recording", then_full)
    answer = bring(elsewhere.server.test_client(), data)
    assert answer.status_code == 507
    assert files_in(tmp_path / "elsewhere" / "recordings") == []
