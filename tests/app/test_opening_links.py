"""Who comes in by which link. Referees: the status and body a client gets, its cookies, and every byte of the logs."""

from __future__ import annotations

import http.client
import logging
import re
import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from asking import finished, make
from hypothesis import given
from hypothesis import settings as settings_of
from hypothesis import strategies as st
from pretend import kept
from sqlalchemy import event, update

from analysis.errors import BadSetup
from analysis.setup import Setup
from app import access, links
from app.serving import Server
from app.settings import Settings
from app.store import ChangedMeanwhile, LastOwnerLink, NoSuchTrial, Store, schema
from app.store.addresses import new_address, new_key
from app.store.links import LABEL_CHARS, end_of_day

BOTH_DATABASES = True
DRAWN = re.compile(r'"end_id":"[^"]*"')  # Dash draws a new one for every page
TOMORROW = (datetime.now(UTC) + timedelta(days=1)).date().isoformat()


@pytest.fixture
def owned(client):
    """A browser that has made a trial, and the trial's address."""
    path = make(client, b"power 200", b"power 210").get_json()["path"]
    assert finished(client, f"{path}/result.json").status_code == 200
    return client, path


@pytest.fixture
def stranger(app):
    return app.server.test_client()


def of(path: str) -> str:
    return path.rpartition("/")[2]


def pairs(store: Store) -> list[tuple[str, str]]:
    return [(kept(store, "power 1"), "a"), (kept(store, "power 2"), "b")]


def test_a_second_reader_link_opens_the_same_trial_and_both_go_on(owned, stranger, services):
    _, path = owned
    token = services.store.links.new_reader(of(path), label="for the club")
    results = [stranger.get(f"{one}/result.json") for one in (path, links.trial_path(token))]
    assert [r.status_code for r in results] == [200, 200]
    assert results[0].data == results[1].data


def end_now(store: Store, token: str) -> None:
    """A link whose day has passed."""
    past = (datetime.now(UTC) - timedelta(seconds=1)).isoformat(timespec="milliseconds")
    with store._database.writing() as connection:
        connection.execute(update(schema.reader_links).where(schema.reader_links.c.token == token).values(expires_utc=past))


def test_revoked_ended_and_unknown_links_are_told_apart_by_nothing(owned, stranger, services):
    _, path = owned
    store, statements = services.store, []
    revoked, ended = (store.links.new_reader(of(path)) for _ in range(2))
    store.links.revoke_reader(of(path), revoked, seen_version=store.links.of(of(path)).version)
    end_now(store, ended)
    event.listen(store._database.engine, "before_cursor_execute", lambda *about: statements.append(about[2]))
    told = []
    for token in (revoked, ended, new_address()):
        statements.clear()
        answers = [stranger.get(links.trial_path(token) + end) for end in ("", "/result.json", "/deltas.csv")]
        pages = [(a.status_code, DRAWN.sub("", a.get_data(as_text=True)), sorted(a.headers.keys())) for a in answers]
        told.append((pages, list(statements)))
    assert told[0] == told[1] == told[2]  # the same bytes after the same questions to the database
    assert [status for status, *_ in told[0][0]] == [404, 404, 404]
    assert stranger.get(path).status_code == 200


def test_an_owner_goes_on_when_links_are_revoked_and_is_led_to_the_open_one(owned, stranger, services):
    client, path = owned
    store = services.store
    second = store.links.new_reader(of(path))
    store.links.revoke_reader(second, of(path), seen_version=store.links.of(second).version)
    led = client.get(f"{path}?from=10.0&to=20.0")
    assert (led.status_code, led.headers["Location"]) == (302, f"{links.trial_path(second)}?from=10.0&to=20.0")
    assert client.get(links.trial_path(second)).status_code == 200
    assert stranger.get(path).status_code == 404

    store.links.revoke_reader(second, second, seen_version=store.links.of(second).version)
    private = client.get(links.trial_path(second)).headers["Location"]
    assert private not in (path, links.trial_path(second))
    assert client.get(private).status_code == 200
    assert client.get(f"{private}/result.json").status_code == 200
    assert [stranger.get(private + end).status_code for end in ("", "/result.json")] == [404, 404]

    third = store.links.new_reader(of(private))
    assert client.get(private).headers["Location"] == links.trial_path(third)
    assert [t.trial_id for t in _own(client, services)] == [third]


def _own(client, services):
    header = "; ".join(f"{c.key}={c.value}" for c in client._cookies.values())
    with client.application.test_request_context("/", headers={"Cookie": header}):
        return access.own_trials()


def test_an_owner_link_works_by_whatever_reader_link_stands_in_it(owned, app, services):
    _, path = owned
    store = services.store
    key = store.new_owner_key(of(path))
    second = store.links.new_reader(of(path))
    store.links.revoke_reader(second, of(path), seen_version=store.links.of(second).version)
    browser = app.server.test_client()
    answer = browser.get(links.owner_path(of(path), key))
    assert (answer.status_code, answer.headers["Location"]) == (303, links.trial_path(second))
    assert browser.get(path).status_code == 302  # knows its trial again


def test_the_owners_address_moves_the_key_into_a_cookie_that_no_script_and_no_other_site_gets(owned, app, services):
    _, path = owned
    key = services.store.new_owner_key(of(path))
    answer = app.server.test_client().get(links.owner_path(of(path), key))
    (cookie,) = answer.headers.getlist("Set-Cookie")
    assert key in cookie
    assert key not in answer.headers["Location"] + answer.get_data(as_text=True)
    assert all(part in cookie for part in ("HttpOnly", "SameSite=Lax", "Path=/"))
    assert "Secure" not in cookie
    assert of(path) not in cookie
    for got in (answer, app.server.test_client().get(links.owner_path(of(path), "x" * 43))):
        assert got.headers["Cache-Control"] == "no-store"
        assert got.headers["Referrer-Policy"] == "no-referrer"
        assert "noindex" in got.headers["X-Robots-Tag"]
    https = app.server.test_client().get(links.owner_path(of(path), key), base_url="https://localhost")
    assert "Secure" in https.headers["Set-Cookie"]


def test_two_trials_in_one_browser_keep_their_keys_apart(owned, services):
    client, path = owned
    other = make(client, b"power 100", b"power 110").get_json()["path"]
    assert len(client._cookies) == 2
    assert {t.trial_id for t in _own(client, services)} == {of(path), of(other)}
    foreign = services.store.create_trial(pairs(services.store), Setup()).trial_id
    assert not any(services.store.owner_of(foreign, c.value) for c in client._cookies.values())


def test_a_cookie_of_an_earlier_version_goes_on(app, services):
    store = services.store
    new = store.create_trial(pairs(store), Setup())
    cookie = f"{access.COOKIE_PREFIX}{new.trial_id[:12]}={new.trial_id}.{new.owner_key}"
    with app.server.test_request_context("/", headers={"Cookie": cookie}):
        assert access.is_owner(new.trial_id)
        assert [t.trial_id for t in access.own_trials()] == [new.trial_id]
    with app.server.test_request_context("/", headers={"Cookie": cookie[:-1]}):
        assert not access.is_owner(new.trial_id)


def test_a_revoked_or_ended_key_opens_nothing_any_more(store):
    new = store.create_trial(pairs(store), Setup())
    second = store.links.new_owner(new.trial_id, label="laptop", expires=TOMORROW)
    first, laptop = store.links.of(new.trial_id).owners
    assert (laptop.label, laptop.lives, laptop.expires_utc is None) == ("laptop", True, False)
    store.links.revoke_owner(new.trial_id, first.name, seen_version=store.links.of(new.trial_id).version)
    assert not store.owner_of(new.trial_id, new.owner_key)
    assert store.owner_of(new.trial_id, second)
    with pytest.raises(LastOwnerLink, match="last owner link"):
        store.links.revoke_owner(new.trial_id, laptop.name, seen_version=store.links.of(new.trial_id).version)
    assert store.owner_of(new.trial_id, second)
    past = (datetime.now(UTC) - timedelta(seconds=1)).isoformat(timespec="milliseconds")
    with store._database.writing() as connection:
        connection.execute(update(schema.owner_keys).values(expires_utc=past))
    assert not store.owner_of(new.trial_id, second)


def test_the_last_owner_link_goes_when_that_is_meant(store):
    new = store.create_trial(pairs(store), Setup())
    (only,) = store.links.of(new.trial_id).owners
    store.links.revoke_owner(new.trial_id, only.name, seen_version=1, even_the_last=True)
    assert not store.owner_of(new.trial_id, new.owner_key)


def test_of_two_owners_changing_links_at_once_the_later_is_told(store):
    new = store.create_trial(pairs(store), Setup())
    seen = store.links.of(new.trial_id).version
    token = store.links.new_reader(new.trial_id, seen_version=seen)
    acts = [
        lambda: store.links.new_reader(new.trial_id, seen_version=seen),
        lambda: store.links.change_reader(new.trial_id, token, label="x", expires="", seen_version=seen),
        lambda: store.links.revoke_reader(new.trial_id, token, seen_version=seen),
        lambda: store.links.new_owner(new.trial_id, seen_version=seen),
        lambda: store.links.revoke_owner(new.trial_id, store.links.of(new.trial_id).owners[0].name, seen_version=seen),
    ]
    before = store.links.of(new.trial_id)
    for act in acts:
        with pytest.raises(ChangedMeanwhile, match="reload the page"):
            act()
    assert store.links.of(new.trial_id) == before
    store.links.change_reader(new.trial_id, token, label=" for \n the club ", expires=TOMORROW, seen_version=before.version)
    changed = store.links.of(new.trial_id).readers[1]
    assert (changed.label, changed.lives) == ("for the club", True)


def test_links_of_another_trial_are_out_of_reach(store):
    mine, other = (store.create_trial(pairs(store), Setup(title=t)) for t in "ab")
    seen = store.links.of(mine.trial_id).version
    with pytest.raises(ChangedMeanwhile):
        store.links.revoke_reader(mine.trial_id, other.trial_id, seen_version=seen)
    with pytest.raises(ChangedMeanwhile):
        store.links.revoke_owner(mine.trial_id, store.links.of(other.trial_id).owners[0].name, seen_version=seen)
    assert store.trial(other.trial_id) is not None
    assert store.owner_of(other.trial_id, other.owner_key)
    with pytest.raises(NoSuchTrial):
        store.links.of(new_address())


def test_what_cannot_be_a_link_is_named(store):
    new = store.create_trial(pairs(store), Setup())
    yesterday = (datetime.now(UTC) - timedelta(days=3)).date().isoformat()
    for expires, words in (
        (yesterday, "still to come"),
        ("soon", "2027-03-31"),
        ("2027-13-01", "2027-03-31"),
        ("9999-12-31", "date"),
    ):
        with pytest.raises(BadSetup, match=words):
            store.links.new_reader(new.trial_id, expires=expires)
    with pytest.raises(BadSetup, match="characters"):
        store.links.new_reader(new.trial_id, label="x" * (LABEL_CHARS + 1))
    assert len(store.links.of(new.trial_id).readers) == 1


@given(st.text(max_size=60))
def test_no_day_that_is_typed_raises_anything_but_a_sentence(text):
    try:
        told = end_of_day(text)
    except BadSetup as problem:
        assert "date" in str(problem) or "to come" in str(problem)
    else:
        assert told is None or datetime.fromisoformat(told) > datetime.now(UTC)


@pytest.mark.parametrize("way", ["/trial/{0}", "/own/{0}/{1}", "/trial/{0}/result.json", "/own/{0}/{0}"])
def test_nonsense_for_an_address_is_answered_and_opens_nothing(app, way):
    client = app.server.test_client()

    @settings_of(deadline=None)  # the machine may be busy
    @given(st.text(max_size=90), st.text(max_size=90))
    def ask(one, other):
        answer = client.get(way.format(one, other).replace("#", "%23").replace("?", "%3F"))
        assert answer.status_code in (200, 301, 302, 308, 404, 405), answer.status_code
        assert "Set-Cookie" not in answer.headers

    ask()


@settings_of(deadline=None)  # the first example opens the store
@given(st.text(max_size=90), st.text(max_size=90))
def test_no_address_and_no_key_makes_the_store_stumble(tmp_path_factory, address, key):
    store = _one_store(tmp_path_factory)
    assert store.trial(address) is None
    assert store.history(address) == []
    assert store.links.way_in(address, [key, address]) is None
    assert store.owned_trials([key]) == []


_STORES: list[Store] = []


def _one_store(factory) -> Store:
    if not _STORES:
        _STORES.append(Store(Settings.from_environment(data_dir=factory.mktemp("nonsense"), environ={})))
    return _STORES[0]


def test_tokens_and_keys_are_long_random_and_of_the_alphabet_of_addresses():
    # 6 bit a character of URL-safe base64. Over 2000 tokens each of the 64 characters is expected 31 times in each place;
    # a place that never shows one of them by chance: exp(-31) * 64.
    for make_one, bits in ((new_address, 192), (new_key, 256)):
        made = [make_one() for _ in range(2000)]
        assert len(set(made)) == 2000
        assert all(links.is_id(text) and 6 * len(text) >= bits >= 128 for text in made)
        whole_places = bits // 6
        assert all(len({text[i] for text in made}) == 64 for i in range(whole_places))


def test_no_log_line_holds_a_key_or_a_link(settings, caplog, capfd, monkeypatch):
    """The real server at the most talkative level, with answers of every kind and a fault of the program's own."""
    caplog.set_level(logging.DEBUG)
    server = Server(replace(settings, port=0))
    store = server.services.store
    new = store.create_trial(pairs(store), Setup())
    second = store.links.new_reader(new.trial_id)
    threading.Thread(target=server.run, daemon=True).start()
    own, page = links.owner_path(new.trial_id, new.owner_key), links.trial_path(second)
    wrong = "w" * 43

    def get(path: str) -> int:
        connection = http.client.HTTPConnection(server.address.removeprefix("http://"))
        connection.request("GET", path, headers={"Cookie": f"{access.COOKIE_PREFIX}x={new.owner_key}"})
        status = connection.getresponse().status
        connection.close()
        return status

    assert [get(path) for path in (own, page, links.owner_path(second, wrong))] == [303, 200, 404]
    assert get(f"{page}/deltas.csv") in (200, 503)  # the analysis may be done by then
    with monkeypatch.context() as broken:
        broken.setattr(type(store.links), "way_in", lambda *_: 1 / 0)
        assert get(own) == 500
        broken.setattr(type(store), "trial", lambda *_: 1 / 0)
        assert get(page) == 500
    server.close()
    told = caplog.text + "".join(capfd.readouterr())
    assert "ZeroDivisionError" in told  # the referee hears the log
    for secret in (new.owner_key, wrong, new.trial_id, second, store.trial(second).inner_id):
        assert secret not in told
