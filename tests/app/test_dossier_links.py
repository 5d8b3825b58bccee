"""Dossiers have the links that trials have. Referees: a database that the program of schema 5 wrote; what owners, readers and
strangers get at each address, before and after."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace

import pytest
from postgres import fill
from test_migrations import KEPT, older

from analysis.errors import BadSetup
from app import ids, keeping, links
from app.access import DOSSIER
from app.dossiers.changing import new_dossier
from app.services import CONFIG_KEY
from app.store import ChangedMeanwhile, LastOwnerLink, NoSuchDossier, Store

BOTH_DATABASES = True
# In the database of schema 5: two versions, a reader address and two keys of the first dossier; the second is not published.
PRIVATE, READER = "mlp6duOKqZuRxXbH9q2tfP6mjAunnkPW", "peHxuxPEsrD-OA2bVUOZV6f5NxBoS6aM"
OTHER = "B8KL5smIUaKuYtYFK6pbcnnBS6PANaEm"
KEYS = ("BtCplPZiIAuXvhAQVcojW8VUN5QRVQvn6D7kCTU9xo4", "oHydqjvMxoGrH3IoFRpt2sI6XS9hNK-qg88QPlLfj0Y")


@pytest.fixture
def taken_over(tmp_path, database_url):
    """The store of schema 5, opened by this program."""
    settings = replace(older(tmp_path / "older", schema_was=5), database_url=database_url)
    if database_url:
        fill(database_url, (KEPT / "schema-5.sql").read_text())
    store = Store(settings)
    yield store
    store.close()


def test_dossiers_of_the_older_program_keep_addresses_keys_and_every_version(taken_over):
    dossiers = taken_over.dossiers
    own, read = dossiers.of(PRIVATE), dossiers.of(READER)
    assert (own.private, read.private, own.version) == (True, False, 2)
    assert own.dossier == read.dossier
    assert (own.dossier.title, own.dossier.conclusion) == ("Kiln pedals; it's <b>old</b>", "Reads true.")
    assert own.dossier.trials[0].digest["summary"][0]["delta_pct"] == 2.0
    given = dossiers.links.of(PRIVATE)
    assert [(link.name, link.lives, link.last_day) for link in given.readers] == [(READER, True, "")]
    assert sorted(link.name for link in given.owners) == sorted(hashlib.sha256(key.encode()).hexdigest()[:16] for key in KEYS)
    assert dossiers.links.of(OTHER).readers == ()
    for key in KEYS:
        assert [d.address for d in dossiers.owned_by([key])] == [READER]
        assert not dossiers.links.owned(OTHER, [key])
    assert dossiers.change(PRIVATE, replace(own.dossier, limits="One unit."), seen_version=2) == 3
    with taken_over._database.reading() as connection:
        count = "SELECT count(*) FROM dossier_version"
        assert connection.exec_driver_sql(count).scalar() == 4
    dossiers.delete(OTHER, seen_version=1)  # what hangs on it goes with it, as in a fresh database
    with taken_over._database.reading() as connection:
        assert connection.exec_driver_sql(count).scalar() == 3


def test_reader_links_are_named_end_and_are_revoked_one_by_one(store):
    new = store.dossiers.create(new_dossier("Pedals", "pedals"))
    kept = store.dossiers.links
    club = kept.new_reader(new.address, label="the club", expires="2199-12-31", seen_version=1)
    press = kept.new_reader(new.address, label="press", seen_version=2)
    assert [(one.label, one.last_day) for one in kept.of(club).readers] == [("the club", "2199-12-31"), ("press", "")]
    assert store.dossiers.owned_by([new.owner_key])[0].address == club  # owners are led to the oldest that lives
    kept.revoke_reader(new.address, club, seen_version=3)
    assert store.dossiers.of(club) is None
    assert store.dossiers.of(press).private is False
    assert kept.way_in(club, [new.owner_key]) == press
    with pytest.raises(ChangedMeanwhile, match="this dossier's links"):
        kept.new_reader(press, seen_version=3)
    with pytest.raises(BadSetup, match="must be still to come"):
        kept.new_reader(press, expires="2020-01-01", seen_version=4)


def test_owner_links_are_told_once_and_revoked_one_by_one(store):
    new = store.dossiers.create(new_dossier("Pedals", "pedals"))
    kept = store.dossiers.links
    further = kept.new_owner(new.address, label="laptop", seen_version=1)
    kept.revoke_owner(new.address, kept.name_of(new.owner_key), seen_version=2)
    assert [kept.owned(new.address, [key]) for key in (new.owner_key, further)] == [False, True]
    with pytest.raises(LastOwnerLink, match="the dossier's last owner link"):
        kept.revoke_owner(new.address, kept.name_of(further), seen_version=3)
    with store._database.reading() as connection:
        assert further not in str(connection.exec_driver_sql("SELECT * FROM dossier_key").all())


def test_a_trials_address_is_no_dossiers_and_the_other_way_round(store):
    new = store.dossiers.create(new_dossier("Pedals", "pedals"))
    reader = store.dossiers.links.new_reader(new.address)
    assert store.trial(reader) is None
    assert not store.links.owned(reader, [new.owner_key])
    with pytest.raises(NoSuchDossier):
        store.dossiers.links.new_owner("t" * 32)


# ---- the panel of the page


@pytest.fixture
def owned(client, services):
    """A browser that owns a dossier, and its private address."""
    new = services.store.dossiers.create(new_dossier("Pedals", "pedals"))
    assert client.get(links.dossier_owner_path(new.address, new.owner_key)).headers["Location"] == links.dossier_path(new.address)
    return client, new.address


def press(client, address: str, **form: str):
    """What the page sends for one of the panel's forms; the answer by component, and its text."""
    client.get("/")
    body = ids.LINKS_BODY["dossier"]
    spec = next(c for c in client.get("/_dash-dependencies").json if c["output"].startswith(f"..{body}."))
    outputs = [dict(zip(("id", "property"), part.rsplit(".", 1), strict=True)) for part in spec["output"].strip(".").split("...")]
    sent = {
        "output": spec["output"], "outputs": outputs, "changedPropIds": [f"{ids.DOSSIER_LINKS_FORM}.data"],
        "inputs": [{"id": ids.DOSSIER_LINKS_FORM, "property": "data", "value": form}],
        "state": [{"id": ids.DOSSIER, "property": "data", "value": address}],
    }  # fmt: skip
    answer = client.post("/_dash-update-component", json=sent, headers={"Origin": "http://localhost"})
    assert answer.status_code == 200, answer.text
    answer.said = json.dumps(answer.get_json())
    return answer


def test_a_stranger_can_do_none_of_it(owned, app, services):
    _, address = owned
    kept = services.store.dossiers.links
    reader = kept.new_reader(address)
    before = kept.of(address)
    for act in keeping.ACTS:
        name = before.owners[0].name if "owner" in act else reader
        answer = press(app.server.test_client(), reader, act=act, seen="2", name=name, confirm="delete", meant="yes")
        assert "Only the owner may change this dossier" in answer.said
        assert "There is no dossier" in press(app.server.test_client(), address, act=act, seen="2").said
    assert kept.of(address) == before


def test_published_named_revoked_and_given_to_another_owner_on_the_page(owned, app, services):
    client, address = owned
    kept = services.store.dossiers.links
    assert app.server.test_client().get(links.dossier_path(address)).status_code == 404
    answer = press(client, address, act="new-reader", seen="1", label="<b>club</b>", expires="2199-12-31")
    (reader,) = (one.name for one in kept.of(address).readers)
    assert f"http://localhost{links.dossier_path(reader)}" in answer.said
    assert "<b>club" not in json.loads(answer.said)["response"][ids.LINKS_BODY["dossier"]]["children"][0]["props"]["data-html"]
    assert app.server.test_client().get(links.dossier_path(reader)).status_code == 200
    assert client.get(links.dossier_path(address)).headers["Location"] == links.dossier_path(reader)

    told = press(client, reader, act="new-owner", seen="2", label="laptop")
    key = told.said.split(f"http://localhost/own-dossier/{reader}/")[1][:43]
    other = app.server.test_client()
    assert other.get(links.dossier_owner_path(reader, key)).headers["Location"] == links.dossier_path(reader)
    assert key not in press(client, reader, act="change-reader", seen="3", name=reader, label="x").said  # told once

    gone = press(other, reader, act="revoke-reader", seen="4", name=reader)
    assert gone.get_json()["response"][ids.DOSSIER_LEAD]["href"] == links.dossier_path(address)
    assert app.server.test_client().get(links.dossier_path(reader)).status_code == 404
    assert other.get(links.dossier_path(reader)).headers["Location"] == links.dossier_path(address)
    press(client, address, act="revoke-owner", seen="5", name=kept.name_of(key))
    assert "There is no dossier" in press(other, address, act="new-reader", seen="6").said


def test_deleting_needs_the_word_and_the_version_that_was_seen(owned, app, services):
    client, address = owned
    store = services.store
    assert "type the word" in press(client, address, act="delete", seen="1", confirm="yes").said
    store.dossiers.change(address, new_dossier("Pedals, changed", "pedals"), seen_version=1)
    assert "Somebody else changed this dossier meanwhile" in press(client, address, act="delete", seen="1", confirm="delete").said
    answer = press(client, address, act="delete", seen="2", confirm="delete")
    assert "This dossier is deleted" in answer.said
    assert any("Max-Age=0" in cookie or "1970" in cookie for cookie in answer.headers.getlist("Set-Cookie"))
    with store._database.reading() as connection:
        tables = ("dossier", "dossier_version", "dossier_key", "dossier_link")
        assert [connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar() for table in tables] == [0] * len(tables)


def test_the_words_are_a_dossiers(owned, app):
    _, address = owned
    with app.server.test_request_context():
        stored = app.server.config[CONFIG_KEY].store.dossiers.of(address)
        shelf = keeping.Shelf(
            kind=DOSSIER, links=DOSSIER.links.of(address), own_names=frozenset(), address=address, private=True, base="http://x",
            version=stored.version,
        )  # fmt: skip
        from app.views.links import links_panel

        said = str(links_panel(shelf))
    assert "Nobody else can open this dossier yet" in said
    assert "trial" not in said.replace("Its trials stay", "")
