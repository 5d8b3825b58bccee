"""The owner's panel of links and the end of a trial. Referees: what the callback answers, what a client is served afterwards, and
what still lies on the disk."""

from __future__ import annotations

import json
import threading

import pytest
from asking import finished, make, settled
from pretend import kept
from test_store import files_in

from analysis.setup import Setup
from app import ids, keeping, links
from app.jobs import Working
from app.store import CarriedNote, ChangedMeanwhile, MissingBlob, NoSuchTrial, Store
from app.store.carried import add_note

BOTH_DATABASES = True


@pytest.fixture
def owned(client):
    """A browser that has made a trial whose result is there, and the trial's address."""
    path = make(client, b"power 200", b"power 210").get_json()["path"]
    assert finished(client, f"{path}/result.json").status_code == 200
    return client, path.rpartition("/")[2]


def press(client, trial_id: str, **form: str):
    """What the page sends for one of the panel's forms; the callback's answer as a dict by component."""
    output = next(one for one in client.application.config["PANEL"] if one.startswith(f"..{ids.LINKS_BODY['trial']}."))
    outputs = [dict(zip(("id", "property"), part.rsplit(".", 1), strict=True)) for part in output.strip(".").split("...")]
    body = {
        "output": output, "outputs": outputs, "changedPropIds": [f"{ids.LINKS_FORM}.data"],
        "inputs": [{"id": ids.LINKS_FORM, "property": "data", "value": form}],
        "state": [{"id": ids.TRIAL, "property": "data", "value": trial_id}],
    }  # fmt: skip
    answer = client.post("/_dash-update-component", json=body, headers={"Origin": "http://localhost"})
    assert answer.status_code == 200, answer.text
    answer.said = json.dumps(answer.get_json())  # as it is read, without the escapes it travels with
    return answer


@pytest.fixture(autouse=True)
def known_callbacks(app):
    app.server.config["PANEL"] = list(app.callback_map)


def seen(services, trial_id: str) -> str:
    return str(services.store.links.of(trial_id).version)


def test_a_stranger_can_do_none_of_it(owned, app, services):
    _, trial_id = owned
    before = services.store.links.of(trial_id)
    for act in keeping.ACTS:
        name = before.owners[0].name if "owner" in act else trial_id
        answer = press(app.server.test_client(), trial_id, act=act, seen="1", name=name, confirm="delete", meant="yes")
        assert "Only the owner may change this trial" in answer.said
        assert "/own/" not in answer.said
    assert services.store.links.of(trial_id) == before
    assert services.store.trial(trial_id) is not None


def test_an_owner_link_made_on_the_page_opens_the_trial_for_its_new_owner(owned, app, services):
    client, trial_id = owned
    answer = press(client, trial_id, act="new-owner", seen="1", label="for Ada", expires="")
    key = answer.said.split(f"http://localhost/own/{trial_id}/")[1][:43]
    assert "for Ada" in answer.said
    other = app.server.test_client()
    assert other.get(links.owner_path(trial_id, key)).headers["Location"] == links.trial_path(trial_id)
    assert key not in press(client, trial_id, act="new-reader", seen=seen(services, trial_id)).said  # told once


def test_reader_links_are_made_named_and_revoked_on_the_page(owned, app, services):
    client, trial_id = owned
    answer = press(client, trial_id, act="new-reader", seen="1", label="<b>club</b>", expires="2199-12-31")
    token = next(one.name for one in services.store.links.of(trial_id).readers if one.label == "<b>club</b>")
    assert f"http://localhost{links.trial_path(token)}" in answer.said
    assert "<b>club" not in json.loads(answer.said)["response"][ids.LINKS_BODY["trial"]]["children"][0]["props"]["data-html"]
    press(client, trial_id, act="change-reader", seen=seen(services, trial_id), name=token, label="magazine", expires="")
    assert [(one.label, one.last_day) for one in services.store.links.of(trial_id).readers] == [("", ""), ("magazine", "")]
    press(client, trial_id, act="revoke-reader", seen=seen(services, trial_id), name=token)
    assert app.server.test_client().get(links.trial_path(token)).status_code == 404
    told = press(client, trial_id, act="new-reader", seen=seen(services, trial_id), expires="yesterday")
    assert "must be a date" in told.said


def test_revoking_the_link_one_came_by_leads_on_and_a_private_page_says_so(owned, services):
    client, trial_id = owned
    answer = press(client, trial_id, act="revoke-reader", seen="1", name=trial_id)
    private = answer.get_json()["response"][ids.LEAD]["href"]
    assert client.get(private).status_code == 200
    again = press(client, private.rpartition("/")[2], act="nothing", seen="1")
    assert "does not know" in again.said
    assert "No reader can open this trial now" in again.said


def test_the_later_of_two_owners_is_told(owned, services):
    client, trial_id = owned
    stale = seen(services, trial_id)
    press(client, trial_id, act="new-reader", seen=stale)
    for act in ("new-reader", "new-owner", "revoke-reader", "change-reader", "revoke-owner"):
        assert "Somebody else changed this trial's links" in press(client, trial_id, act=act, seen=stale, name=trial_id).said
    services.store.change_setup(trial_id, Setup(title="changed by the other"))
    told = press(client, trial_id, act="delete", seen="1", confirm="delete")
    assert "Somebody else changed this trial meanwhile" in told.said
    assert services.store.trial(trial_id) is not None


def test_the_last_owner_link_needs_a_second_word(owned, services):
    client, trial_id = owned
    (only,) = services.store.links.of(trial_id).owners
    assert "last owner link" in press(client, trial_id, act="revoke-owner", seen="1", name=only.name).said
    answer = press(client, trial_id, act="revoke-owner", seen="1", name=only.name, meant="yes")
    assert answer.get_json()["response"][ids.LEAD]["href"] == links.trial_path(trial_id)
    assert "Only the owner" in press(client, trial_id, act="new-owner", seen="2").said


def test_deleting_needs_the_word_and_then_leaves_nothing(owned, app, services, settings):
    client, trial_id = owned
    store, jobs = services.store, services.jobs
    store.change_setup(trial_id, Setup(title="second"))
    settled(jobs, trial_id)
    stored, key = store.trial(trial_id), store.new_owner_key(trial_id)
    results = [f"result:{jobs.key_of(stored)}"]
    with store._database.writing() as connection:
        add_note(connection, stored.inner_id, CarriedNote(text="x", created_utc="2026", changed_utc="2026"))
    assert all(store.results.get(one) for one in results)
    assert "type the word" in press(client, trial_id, act="delete", seen="2", confirm="yes").said
    assert client.get(links.trial_path(trial_id)).status_code == 200

    answer = press(client, trial_id, act="delete", seen="2", confirm=" Delete ")
    assert "This trial is deleted" in answer.said
    assert any("Max-Age=0" in cookie or "1970" in cookie for cookie in answer.headers.getlist("Set-Cookie"))
    for path in (links.trial_path(trial_id), links.result_path(trial_id), links.owner_path(trial_id, key)):
        assert [browser.get(path).status_code for browser in (client, app.server.test_client())] == [404, 404]
    assert files_in(settings.data_dir / "recordings") == []
    assert not any(store.results.get(one) for one in results)
    with store._database.reading() as connection:
        tables = ("trial", "trial_recording", "trial_setup", "trial_blocks_first", "owner_key", "reader_link", "note")
        assert [connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar() for table in tables] == [0] * len(tables)


def test_recordings_that_another_trial_holds_stay(store):
    shared, own, other = (kept(store, f"power {i}") for i in (1, 2, 3))
    gone = store.create_trial([(shared, "a"), (own, "b")], Setup())
    stays = store.create_trial([(shared, "a"), (other, "b")], Setup())
    store.delete_trial(gone.trial_id, seen_version=1)
    assert [store.has_recording(one) for one in (shared, own, other)] == [True, False, True]
    assert store.trial(stays.trial_id) is not None
    assert not store.owner_of(gone.trial_id, gone.owner_key)


def test_a_recording_uploaded_while_its_trial_is_deleted_can_still_become_a_trial(settings):
    """Threads upload and make trials of the same two recordings while others delete what was made."""
    store, made, lost = Store(settings), [], []
    done = threading.Event()

    def reviewer() -> None:
        for i in range(12):
            pairs = [(kept(store, f"power {n}"), f"{n}") for n in (1, 2)]
            try:
                made.append((store.create_trial(pairs, Setup(title=str(i))).trial_id, pairs))
            except MissingBlob as problem:
                lost.append(problem)

    def deleter() -> None:
        while not done.is_set() or len(made) > 6:
            if len(made) > 6:
                store.delete_trial(made.pop(0)[0], seen_version=1)

    workers = [threading.Thread(target=reviewer) for _ in range(2)]
    cleaner = threading.Thread(target=deleter)
    for thread in (*workers, cleaner):
        thread.start()
    for thread in workers:
        thread.join()
    done.set()
    cleaner.join()
    assert lost == []
    assert len(made) == 6
    for trial_id, pairs in made:
        assert store.trial(trial_id).recordings == tuple(pairs)
        assert all(store.recording(*pair) for pair in pairs)
    store.close()


def test_a_result_computed_while_its_trial_is_deleted_is_not_kept(bench):
    trial_id = bench.trial()
    stored = bench.store.trial(trial_id)
    bench.counter.gate.clear()
    assert isinstance(bench.jobs.ask(trial_id), Working)
    bench.store.delete_trial(trial_id, seen_version=1)
    bench.counter.gate.set()
    bench.jobs.close()
    assert bench.store.results.get(f"result:{bench.jobs.key_of(stored)}") is None


def test_a_trial_that_was_changed_or_is_gone_is_not_deleted(store):
    new = store.create_trial([(kept(store, "power 1"), "a"), (kept(store, "power 2"), "b")], Setup())
    store.change_setup(new.trial_id, Setup(title="x"))
    with pytest.raises(ChangedMeanwhile):
        store.delete_trial(new.trial_id, seen_version=1)
    store.delete_trial(new.trial_id, seen_version=2)
    with pytest.raises(NoSuchTrial, match="no trial at this address"):
        store.delete_trial(new.trial_id, seen_version=2)
