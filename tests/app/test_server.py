"""The server as a browser or an attacker meets it. Referees: the Fetch, CSP and cookie rules, checked on the answers."""

from __future__ import annotations

import base64
import csv
import gzip
import hashlib
import io
import json
import re
from dataclasses import replace

import pretend
import pytest
from asking import OURS, finished, make, send

from analysis.setup import Setup
from app import access, ids, links
from app.main import create_app
from app.protection import host_allowed
from app.screen import Screen
from app.services import CONFIG_KEY

# --- trials, keys, cookies


def test_a_new_trial_gives_its_key_to_this_browser_only(client, app):
    answer = make(client, b"power 200", b"power 205", setup={"trial": {"title": "Kiln"}})
    told = answer.get_json()
    assert answer.status_code == 201
    assert told["path"] == links.trial_path(told["id"])
    (cookie,) = answer.headers.getlist("Set-Cookie")
    name, value = cookie.split(";")[0].split("=", 1)
    assert name == f"countercheck_owner_{app.server.config[CONFIG_KEY].store.trial(told['id']).inner_id[:12]}"
    assert {"HttpOnly", "SameSite=Lax", "Path=/"} <= {part.strip() for part in cookie.split(";")}
    assert value not in answer.text

    with app.server.test_request_context("/", headers={"Cookie": f"{name}={value}"}):
        assert access.is_owner(told["id"])
        access.require_owner(told["id"])
        assert [t.setup.title for t in access.own_trials()] == ["Kiln"]
    for wrong in ("", f"{name}=x", f"{name}={value[:-1]}", f"{name}={told['id']}", f"other={value}"):
        with app.server.test_request_context("/", headers={"Cookie": wrong}):
            assert not access.is_owner(told["id"])
            assert access.own_trials() == []
            with pytest.raises(access.NotOwner):
                access.require_owner(told["id"])


def test_the_cookie_travels_by_https_only_where_the_page_did(client, app):
    trial_id = make(client, b"power 200", b"power 205").get_json()["id"]
    with app.server.test_request_context("/", base_url="https://localhost"):
        response = app.server.make_response("")
        access.grant(response, trial_id, "k" * 43)
        assert "Secure" in response.headers["Set-Cookie"]


@pytest.mark.parametrize(
    ("body", "word"),
    [
        ({"recordings": []}, "at least two"),
        ({"recordings": [{"id": "0" * 64, "name": "a"}, {"id": "1" * 64, "name": "b"}]}, "upload it again"),
        ({"recordings": [{"id": "../x", "name": "a"}, {"id": 5, "name": "b"}]}, "Each recording"),
        ({"recordings": "all"}, "Send JSON"),
        ([], "Send JSON"),
        ({"recordings": [{"id": "0" * 64, "name": str(i)} for i in range(25)]}, "At most 24"),
    ],
)
def test_a_trial_that_cannot_be_is_one_sentence(client, body, word):
    answer = client.post("/trials", json=body, headers=OURS)
    assert answer.status_code in (400, 422)
    assert word in answer.get_json()["error"]
    assert "Set-Cookie" not in answer.headers


def test_the_same_file_twice_is_told_by_both_names(client):
    answer = make(client, b"power 200", b"power 200")
    assert answer.status_code == 422
    assert "b.line is the same file as a.line" in answer.get_json()["error"]


def test_a_bad_set_up_names_its_key(client):
    answer = make(client, b"power 200", b"power 205", setup={"drivetrain": {"loss_pct": [9, 1]}})
    assert answer.status_code == 422
    assert "loss_pct" in answer.get_json()["error"]


def test_the_owner_link_moves_the_key_into_a_cookie(client, services):
    trial_id = make(client, b"power 200", b"power 205").get_json()["id"]
    key = services.store.new_owner_key(trial_id)
    other = client.application.test_client()
    answer = other.get(links.owner_path(trial_id, key))
    assert (answer.status_code, answer.headers["Location"]) == (303, links.trial_path(trial_id))
    assert key not in answer.headers["Location"]
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert answer.headers["Cache-Control"] == "no-store"
    assert key in answer.headers["Set-Cookie"]
    assert other.get(links.owner_path(trial_id, "k" * 43)).status_code == 404


def callback_body(app, client, output: str, inputs: dict, states: dict) -> dict:
    """The request the browser's part of Dash would send for the callback that feeds `output`."""
    client.get("/")  # the first request makes Dash take over its callbacks
    (spec,) = [c for c in client.get("/_dash-dependencies").get_json() if output in c["output"]]
    values = inputs | states

    def filled(entries):
        out = []
        for entry in entries:
            key = entry["id"]
            if "{" in key:
                out.append([])
            else:
                out.append({"id": key, "property": entry["property"], "value": values.get(key)})
        return out

    outputs = [
        dict(zip(("id", "property"), part.rsplit(".", 1), strict=True))
        for part in re.sub(r"@[0-9a-f]+", "", spec["output"]).strip(".").split("...")
    ]
    changed = [f"{k}.{entry['property']}" for k in inputs for entry in spec["inputs"] if entry["id"] == k]
    return {
        "output": spec["output"], "outputs": outputs if len(outputs) > 1 else outputs[0], "inputs": filled(spec["inputs"]),
        "state": filled(spec["state"]), "changedPropIds": changed,
    }  # fmt: skip


def test_a_trial_made_without_the_page_can_hide_its_deltas_too(client, services):
    sent = [send(client, f"power 20{i}".encode(), f"{i}.line").get_json() for i in range(2)]
    asked = {"recordings": [{"id": s["id"], "name": s["name"]} for s in sent], "setup": {}}
    made = client.post("/trials", json=asked | {"blocks_first": True}, headers=OURS).get_json()
    assert services.store.trial(made["id"]).deltas_hidden
    assert not services.store.trial(client.post("/trials", json=asked, headers=OURS).get_json()["id"]).deltas_hidden
    answer = client.post("/trials", json=asked | {"blocks_first": "yes"}, headers=OURS)
    assert (answer.status_code, answer.get_json()["error"]) == (400, '"blocks_first" must be true or false.')


def test_the_changing_callback_refuses_whoever_lacks_the_key(app, client, services):
    trial_id = make(client, b"power 200", b"power 205").get_json()["id"]
    before = services.store.trial(trial_id)
    rows = {key: {"label": name[0]} for key, name in before.recordings}
    form = {"rows": rows, "title": "mine now", "seen": str(before.setup_version)}
    body = callback_body(app, client, f"{ids.EDIT_PROBLEM}.children", {ids.EDIT_FORM: form}, {ids.TRIAL: trial_id})
    stranger = client.application.test_client()
    answer = stranger.post("/_dash-update-component", json=body)
    assert "Only the owner may change this trial" in answer.text
    assert services.store.trial(trial_id) == before
    # the referee works: with the key the same request gets past that refusal
    assert "Only the owner" not in client.post("/_dash-update-component", json=body).text
    assert services.store.trial(trial_id).setup.title == "mine now"
    # a sheet that was opened before that change undoes nothing
    assert "Somebody else changed this trial meanwhile" in client.post("/_dash-update-component", json=body).text


# --- pages, headers, hosts


def test_every_answer_carries_the_protecting_headers(client):
    trial_id = make(client, b"power 200", b"power 205").get_json()["id"]
    paths = ["/", links.trial_path(trial_id), "/nowhere", "/_dash-layout", links.result_path(trial_id), "/assets/none.css"]
    for answer in [*(client.get(path) for path in paths), send(client, b"", "x"), client.post("/upload")]:
        headers = answer.headers
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["Referrer-Policy"] == "no-referrer"
        assert "noindex" in headers["X-Robots-Tag"]
        rules = dict(rule.strip().split(" ", 1) for rule in headers["Content-Security-Policy"].split(";"))
        assert rules["default-src"] == "'none'"
        assert rules["frame-ancestors"] == "'none'"
        assert "unsafe" not in rules["script-src"]


def test_the_policy_names_every_inline_script_and_no_page_asks_for_another_host(client):
    answer = client.get("/")
    policy = answer.headers["Content-Security-Policy"]
    scripts = re.findall(r"<script(?P<attributes>[^>]*)>(?P<body>.*?)</script>", answer.text, re.DOTALL)
    inline = [body for attributes, body in scripts if "src=" not in attributes and "application/json" not in attributes]
    assert inline
    for body in inline:
        assert f"'sha256-{base64.b64encode(hashlib.sha256(body.encode()).digest()).decode()}'" in policy
    assert not re.findall(r'(?:src|href)="(?:https?:)?//', answer.text)


def test_the_page_names_its_language_its_width_and_keeps_out_of_indexes(client):
    page = client.get("/").text
    assert '<html lang="en">' in page
    assert 'name="viewport"' in page
    assert 'content="noindex, nofollow"' in page
    assert re.search(r'rel="icon"[^>]*href="/assets/favicon', page)


def test_a_new_version_reaches_browsers_that_saw_the_old_one(client):
    # wheels stamp every file alike: only an address that names the content may be kept without asking again
    page = client.get("/").text
    files = re.findall(r'"(/assets/[^"]+\.(?:css|js)[^"]*)"', page)
    assert len(files) > 10
    for address in files:
        path, _, stamp = address.partition("?h=")
        answer = client.get(address)
        assert hashlib.sha256(answer.data).hexdigest().startswith(stamp)
        assert len(stamp) >= 16
        assert "immutable" in answer.headers["Cache-Control"]
        other = client.get(f"{path}?h={'0' * 16}")
        assert "no-cache" in other.headers["Cache-Control"]
        assert client.get(path, headers={"If-None-Match": other.headers["ETag"]}).status_code == 304
    assert "max-age" in client.get("/assets/favicon.ico").headers["Cache-Control"]


def test_scripts_go_over_the_wire_packed(client):
    """Referee: the standard library's gzip."""
    plain = client.get("/assets/30-scrub.js", headers={"Accept-Encoding": "identity"})
    packed = client.get("/assets/30-scrub.js", headers={"Accept-Encoding": "gzip, br"})
    assert "Content-Encoding" not in plain.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(packed.data) == plain.data
    assert len(packed.data) < 0.5 * len(plain.data)
    again = {"Accept-Encoding": "gzip", "If-None-Match": packed.headers["ETag"]}
    assert client.get("/assets/30-scrub.js", headers=again).status_code == 304


@pytest.mark.parametrize("path", ["/nowhere", "/trial/", f"/trial/{'n' * 32}", "/trial/short", "/_mcp", "/_reload-hash"])
def test_what_does_not_exist_is_404(client, path):
    assert client.get(path).status_code == 404


def test_what_exists_is_200(client):
    trial_id = make(client, b"power 200", b"power 205").get_json()["id"]
    for path in ("/", links.trial_path(trial_id), links.trial_path(trial_id, Screen(window=(1.0, 5.0)))):
        assert client.get(path).status_code == 200


def test_a_missing_trials_downloads_and_owner_link_are_404(client):
    for path in (links.result_path("n" * 32), links.deltas_path("n" * 32), links.owner_path("n" * 32, "k" * 43)):
        assert client.get(path).status_code == 404


@pytest.mark.parametrize(
    ("bound", "host", "allowed"),
    [
        ("127.0.0.1", "localhost", True),
        ("127.0.0.1", "localhost:8417", True),
        ("127.0.0.1", "127.0.0.1:1", True),
        ("127.0.0.1", "[::1]:8417", True),
        ("127.0.0.1", "evil.example", False),  # a name that was rebound to 127.0.0.1
        ("127.0.0.1", "localhost.evil.example", False),
        ("127.0.0.1", "evil.example@localhost", True),  # the part before @ is no host; what is named is localhost
        ("127.0.0.1", "192.168.1.5", False),
        ("127.0.0.1", "", False),
        ("127.0.0.1", "[bad", False),
        ("ride.lan", "ride.lan:8417", True),
        ("0.0.0.0", "192.168.1.5:8417", True),  # bound to all: figures cannot be rebound
        ("0.0.0.0", "evil.example", False),
        ("::", "[fe80::1]", True),
    ],
)
def test_only_its_own_names_reach_the_server(settings, bound, host, allowed):
    assert host_allowed(host, replace(settings, host=bound)) is allowed


def test_a_listed_name_is_answered_and_an_unlisted_one_is_not(settings, client):
    assert host_allowed("rides.example", replace(settings, allowed_hosts=("rides.example",)))
    answer = client.get("/", headers={"Host": "evil.example"})
    assert answer.status_code == 421
    assert "react-entry-point" not in answer.text


def test_a_fault_in_a_callback_shows_no_traceback(app, client, monkeypatch):
    def fault(*_args, **_more):
        raise ZeroDivisionError

    client.get("/")
    monkeypatch.setitem(app.callback_map["sheet.children"], "callback", fault)
    call = {"output": "sheet.children", "outputs": {"id": "sheet", "property": "children"}, "inputs": [], "changedPropIds": []}
    answer = client.post("/_dash-update-component", json=call)
    assert answer.status_code == 500
    assert "Traceback" not in answer.text
    assert "File " not in answer.text


def test_two_apps_in_one_process_both_have_every_callback(settings, counter, client, tmp_path):
    other = create_app(replace(settings, data_dir=tmp_path / "2", cache_dir=tmp_path / "3"), engine=counter.engine())
    client.get("/")
    first = {c["output"] for c in client.get("/_dash-dependencies").get_json()}
    second = other.server.test_client()
    second.get("/")
    assert {c["output"] for c in second.get("/_dash-dependencies").get_json()} == first
    assert len(first) > 5
    other.server.config[CONFIG_KEY].store.close()


def test_the_debug_and_agent_switches_of_the_environment_are_ignored(settings, counter, monkeypatch, tmp_path):
    for name in ("DASH_DEBUG", "DASH_MCP_ENABLED", "DASH_HOT_RELOAD", "DASH_UI"):
        monkeypatch.setenv(name, "true")
    app = create_app(replace(settings, data_dir=tmp_path / "2", cache_dir=tmp_path / "3"), engine=counter.engine())
    rules = {rule.rule for rule in app.server.url_map.iter_rules()}
    assert not [rule for rule in rules if "mcp" in rule]
    assert app.server.debug is False
    app.server.config[CONFIG_KEY].store.close()


# --- downloads and the built-in trial


def test_the_download_is_the_result_and_computes_nothing_twice(client, counter):
    trial_id = make(client, b"power 200", b"power 205", setup={"trial": {"title": "Kiln"}}).get_json()["id"]
    answer = finished(client, links.result_path(trial_id))
    assert answer.status_code == 200
    assert "attachment" in answer.headers["Content-Disposition"]
    assert answer.get_json()["title"] == "Kiln"
    finished(client, links.result_path(trial_id))
    assert len(counter.compares) == 1


def test_the_delta_table_downloads_as_csv(client):
    trial_id = make(client, b"power 200", b"power 205").get_json()["id"]
    answer = finished(client, links.deltas_path(trial_id))
    assert answer.mimetype == "text/csv"
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [row["block"] for row in rows] == ["B01", "all"]
    assert float(rows[0]["delta_w"]) == 5.0


def test_a_download_of_a_failed_trial_says_why(client):
    trial_id = make(client, b"power 200", b"power 205").get_json()["id"]
    store = client.application.config[CONFIG_KEY].store
    bad = [(pretend.kept(store, "silent 1"), "x.line"), (pretend.kept(store, "power 1"), "y.line")]
    trial_id = store.create_trial(bad, Setup()).trial_id
    answer = finished(client, links.result_path(trial_id))
    assert answer.status_code == 422
    assert "x.line" in answer.get_json()["error"]


def test_the_built_in_trial_is_made_once(client):
    first = client.get("/demo")
    assert first.status_code == 303
    assert client.get("/demo").headers["Location"] == first.headers["Location"]
    assert client.get(first.headers["Location"]).status_code == 200
    assert json.loads(client.get("/_dash-layout").text)
