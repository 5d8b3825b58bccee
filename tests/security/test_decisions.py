"""Every callback and route has a decision, and keeps to it. Referees: what Dash and Flask registered, the database's rows."""

from __future__ import annotations

import json
import re
import sqlite3

import pytest

from analysis.default_design import default_design
from app import keeping
from app.decisions import CALLBACKS, ROUTES
from app.dossiers.changing import new_dossier
from app.main import create_app
from app.services import CONFIG_KEY
from app.settings import Settings

OURS = {"X-Requested-With": "countercheck", "Origin": "http://localhost"}
CSV = "time,power,cadence\n" + "\n".join(f"{1_768_673_100 + t},{200 + t % 7},{88 + t % 3}" for t in range(600))
REFUSAL = "Only the owner may change this trial"
OWNERS = [output for output, who in CALLBACKS.items() if who == "owner"]
PLANS = [output for output, who in CALLBACKS.items() if who == "plan's owner"]
DOSSIERS = [output for output, who in CALLBACKS.items() if who == "dossier's owner"]
OTHERS = [output for output, who in CALLBACKS.items() if who in ("reader", "anyone")]


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("decisions")
    app = create_app(Settings(data_dir=folder, cache_dir=folder / "results"))
    owner = app.server.test_client()
    owner.get("/")
    files = [
        owner.post("/upload", data=(CSV + f"\n{1_768_673_800 + i},200,90").encode(), headers=named(i)).json
        for i in range(2)
    ]
    body = {"recordings": [{"id": one["id"], "name": one["name"]} for one in files]}
    trial_id = owner.post("/trials", json=body, headers=OURS).json["id"]
    yield app, owner, trial_id, folder / "trials.sqlite3"
    app.server.config[CONFIG_KEY].close()


def named(i: int) -> dict[str, str]:
    return OURS | {"X-File-Name": f"{i}.csv"}


def without_hash(output: str) -> str:
    return re.sub(r"@[0-9a-f]+", "", output)


def rows(database) -> dict[str, list]:
    with sqlite3.connect(database) as connection:
        tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {table: _rows(connection, table) for table in tables}


def _rows(connection: sqlite3.Connection, table: str) -> list[str]:
    """Without the day on which a trial was last looked at, which looking does change."""
    columns = [name for _, name, *_ in connection.execute(f'PRAGMA table_info("{table}")') if not name.startswith("opened")]
    return sorted(map(repr, connection.execute(f'SELECT {", ".join(columns)} FROM "{table}"')))


def asked(client, output: str, trial_id: str, value=None, *, plan: str = "", dossier: str = "d" * 32):
    """Call a callback as the page of this trial would; every input that is no trial is `value`."""
    (spec,) = [c for c in client.get("/_dash-dependencies").json if without_hash(c["output"]) == output]

    def filled(entry: dict) -> dict:
        if "{" in entry["id"]:
            id_ = json.loads(entry["id"].replace('["MATCH"]', '"agreement"'))
            return {"id": id_, "property": entry["property"], "value": id_ if entry["property"] == "id" else True}
        known = {"trial-id.data": trial_id, "theme.data": "light", "_pages_location.pathname": f"/trial/{trial_id}"}
        known["plan-token.data"] = plan or None
        known["dossier-address.data"] = dossier
        known["_pages_location.search"] = "?from=1&to=9"
        return {**entry, "value": known.get(f"{entry['id']}.{entry['property']}", value)}

    outputs = []
    for part in output.strip(".").split("..."):
        id_, property_ = part.rsplit(".", 1)
        outputs.append({"id": json.loads(id_.replace('["MATCH"]', '"agreement"')) if "{" in id_ else id_, "property": property_})
    first = spec["inputs"][0]
    body = {
        "output": spec["output"], "outputs": outputs if output.startswith("..") else outputs[0],
        "inputs": [filled(one) for one in spec["inputs"]], "state": [filled(one) for one in spec["state"]],
        "changedPropIds": [f"{first['id'].replace(json.dumps(['MATCH']), json.dumps('agreement'))}.{first['property']}"],
    }  # fmt: skip
    return client.post("/_dash-update-component", json=body, headers=OURS)


def test_every_callback_and_route_has_a_decision_and_no_decision_is_left_over(site):
    app, owner, _, _ = site
    callbacks = {without_hash(c["output"]) for c in owner.get("/_dash-dependencies").json if not c.get("clientside_function")}
    routes = {rule.rule for rule in app.server.url_map.iter_rules()}
    assert callbacks == set(CALLBACKS), "write who may call it into app/decisions.py"
    assert routes == set(ROUTES), "write who may ask for it into app/decisions.py"


FORM = {"rows": {}, "title": "mine now", "version": 1, "act": "make", "kind": "owner", "label": "x", "seen": 1}


@pytest.mark.parametrize("output", OWNERS)
@pytest.mark.parametrize("value", [FORM, 1, None], ids=["form", "number", "nothing"])
def test_an_owners_callback_without_the_key_is_refused_and_changes_nothing(site, output, value):
    app, _, trial_id, database = site
    before = rows(database)
    answer = asked(app.server.test_client(), output, trial_id, value)
    assert answer.status_code in (200, 204, 403), answer.text
    assert rows(database) == before
    if value == FORM:
        assert REFUSAL in answer.text, answer.text


@pytest.mark.parametrize("output", OWNERS)
def test_the_refusal_is_the_keys_doing(site, output):
    # the referee of the test above: with the key the same call gets past it
    _, owner, trial_id, _ = site
    assert REFUSAL not in asked(owner, output, trial_id, FORM).text


@pytest.mark.parametrize("output", PLANS)
def test_a_plan_is_not_changed_without_its_key(site, output):
    app, _, trial_id, database = site
    plan = app.server.config[CONFIG_KEY].store.plans.create(default_design(250.0)).token
    before = rows(database)
    for value in (FORM | {"act": "freeze"}, FORM | {"act": "delete"}, None):
        answer = asked(app.server.test_client(), output, trial_id, value, plan=plan)
        assert "Only the owner may change this plan" in answer.text, answer.text
    assert rows(database) == before


@pytest.mark.parametrize("output", DOSSIERS)
def test_a_dossier_is_not_changed_without_its_key(site, output):
    app, _, trial_id, database = site
    store = app.server.config[CONFIG_KEY].store
    kept = store.dossiers.create(new_dossier("Pedals", "pedals"))
    reader = store.dossiers.links.new_reader(kept.address)
    before = rows(database)
    words = {"part": "words", "seen": "1", "rows": [{"title": "mine now"}]}
    acts = [{"act": act, "rows": [{"link": "x"}]} for act in ("add-trial", "look-again", "answers")]
    acts += [{"act": act, "seen": "2", "name": reader, "confirm": "delete", "meant": "yes"} for act in keeping.ACTS]
    for address, refusal in ((reader, "Only the owner may change this dossier"), (kept.address, "There is no dossier")):
        for value in (words, *acts):
            assert refusal in asked(app.server.test_client(), output, trial_id, value, dossier=address).text
    for value in (1, None):
        assert asked(app.server.test_client(), output, trial_id, value, dossier=reader).status_code in (200, 204)
    assert rows(database) == before


@pytest.mark.parametrize("output", OTHERS)
def test_looking_changes_nothing(site, output):
    app, _, trial_id, database = site
    before = rows(database)
    for value in (FORM, 1, None):
        assert asked(app.server.test_client(), output, trial_id, value).status_code in (200, 204)
    assert rows(database) == before


@pytest.mark.parametrize("rule", [rule for rule, who in ROUTES.items() if "owner" in who])
def test_an_owners_route_without_the_key_gives_nothing(site, rule):
    app, _, trial_id, database = site
    before = rows(database)
    path = rule
    for name, value in (("<trial_id>", trial_id), ("<owner_key>", "k" * 43), ("<token>", "p" * 32), ("<address>", "d" * 32)):
        path = path.replace(name, value)
    answer = app.server.test_client().get(path)
    assert answer.status_code in (403, 404)
    assert "Set-Cookie" not in answer.headers
    assert rows(database) == before


def test_an_owner_of_one_trial_is_none_of_another(site):
    app, _, trial_id, database = site
    other = app.server.test_client()
    files = [
        other.post("/upload", data=(CSV + f"\n{1_768_673_900 + i},210,90").encode(), headers=named(i)).json
        for i in range(2)
    ]
    body = {"recordings": [{"id": one["id"], "name": one["name"]} for one in files]}
    assert other.post("/trials", json=body, headers=OURS).status_code == 201
    before = rows(database)
    for output in OWNERS:
        assert REFUSAL in asked(other, output, trial_id, FORM).text
    assert rows(database) == before
