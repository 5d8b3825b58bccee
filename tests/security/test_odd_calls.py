"""What no page of ours sends, and what a person who means harm types into a dossier. Referees: status codes, the log of faults,
an HTML parser's view of what leaves the server, a CSV reader."""

from __future__ import annotations

import csv
import io
import json
import logging
import sys
import zipfile
from html.parser import HTMLParser
from pathlib import Path

import pytest

from analysis.default_design import default_design
from analysis.dossier.document import dossier_from_dict
from app import links
from app.decisions import CALLBACKS
from app.dossiers.changing import new_dossier
from app.main import create_app
from app.services import CONFIG_KEY
from app.settings import Settings

sys.path.append(str(Path(__file__).resolve().parents[1] / "app"))  # serving_public.py, test_dossiers_kept.py
from serving_public import from_address, public_settings
from test_decisions import CSV, OURS, asked, named
from test_dossiers_kept import REPORT

HARM = "<img src=x onerror=alert(1)></script><script>alert(2)</script>"
HALF = "\ud800"
ODD = [
    [], {}, [[]], "x", "\0", HALF, 1e308, -1, True, 10**400, [None, None], {"act": []}, {"act": {}, "seen": {}}, {"rows": "x"},
    {"rows": [[]], "part": []}, {"rows": [{"x": {}}], "part": "bench", "seen": "9" * 5000}, {"act": "add", "text": "a\0b"},
    {"part": "bench", "rows": [{"row.readings": ["1"], "row.quantity": {}}], "seen": "1"}, {"from": "nan", "to": "inf"},
    {"part": "trials", "rows": [{"key": []}], "seen": "1"}, {"act": "add-trial", "rows": [{"link": "http://[", "label": []}]},
    {"act": "new-reader", "seen": "1", "expires": "9999-12-31", "label": HALF},
    {"act": "answers", "rows": [{"3": HALF}], "seen": "1"},
    {"part": "words", "rows": [{"title": HALF}], "seen": "1"}, {"part": "words", "rows": [{"title": "a\0b"}], "seen": "1"},
    {"title": HALF, "rows": {}},
]  # fmt: skip


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """A server and a browser that owns a trial, a dossier and a plan there; their addresses."""
    folder = tmp_path_factory.mktemp("odd")
    app = create_app(Settings(data_dir=folder, cache_dir=folder / "results"))
    owner, services = app.server.test_client(), app.server.config[CONFIG_KEY]
    owner.get("/")
    files = [
        owner.post("/upload", data=(CSV + f"\n{1_768_673_800 + i},200,90").encode(), headers=named(i)).json for i in range(2)
    ]
    body = {"recordings": [{"id": one["id"], "name": one["name"]} for one in files]}
    trial_id = owner.post("/trials", json=body, headers=OURS).json["id"]
    dossier = services.store.dossiers.create(new_dossier("Pedals", "pedals"))
    owner.get(links.dossier_owner_path(dossier.address, dossier.owner_key))
    plan = services.store.plans.create(default_design(250.0))
    owner.get(links.plan_owner_path(plan.token, plan.owner_key))
    yield owner, services, {"trial_id": trial_id, "plan": plan.token, "dossier": dossier.address}
    services.close()


@pytest.mark.parametrize("output", sorted(CALLBACKS))
def test_odd_values_from_an_owners_browser_are_never_a_fault(site, output, caplog):
    owner, _, at = site
    for value in ODD:
        with caplog.at_level(logging.ERROR):
            answer = asked(owner, output, at["trial_id"], value, plan=at["plan"], dossier=at["dossier"])
        assert answer.status_code in (200, 204, 400), (value, answer.status_code)
        assert not [record for record in caplog.records if record.exc_info], value


BODIES = [
    b"null", b"[]", b'"x"', b"{}", b'{"output": 5}', b'{"output": "nowhere.children", "inputs": []}',
    b'{"a": "' + b"x" * 500_000 + b'"}', b"[" * 50_000,
    b'{"output": "sheet.children", "inputs": 5}', b'{"output": "sheet.children", "inputs": [5], "outputs": []}',
    b'{"output": "sheet.children", "changedPropIds": [[]], "inputs": [], "outputs": {"id": "sheet", "property": "children"}}',
]  # fmt: skip


@pytest.mark.parametrize("body", BODIES, ids=range(len(BODIES)))
def test_a_call_that_no_page_sends_is_refused_in_one_sentence_and_is_no_fault_in_the_log(site, body, caplog):
    with caplog.at_level(logging.ERROR):
        answer = site[0].post("/_dash-update-component", data=body, headers=OURS, content_type="application/json")
    assert answer.status_code == 400
    assert answer.get_json()["error"].count(".") <= 1
    assert not caplog.records


def test_no_other_door_of_dash_is_open(site):
    owner = site[0]
    for path in ("/_mcp", "/mcp", "/_dash-mcp", "/_dash-ws", "/_dash-update-component/ws", "/_alive", "/console"):
        assert owner.get(path).status_code == 404, path
        assert owner.post(path, json={}, headers=OURS).status_code in (404, 405), path
    upgrade = {"Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Key": "x", "Sec-WebSocket-Version": "13"}
    assert owner.get("/_dash-update-component", headers=upgrade).status_code == 405


def test_guessing_keys_of_dossiers_is_counted_as_guessing_keys_of_trials_is(tmp_path):
    app = create_app(public_settings(tmp_path / "kept", OWNER_TRIES_PER_HOUR="5"))
    stranger = app.server.test_client()
    codes = [
        stranger.get(links.dossier_owner_path("a" * 32, f"{i:043d}"), headers=from_address("203.0.113.9")).status_code
        for i in range(7)
    ]
    assert codes == [404] * 5 + [429] * 2
    app.server.config[CONFIG_KEY].close()


@pytest.mark.parametrize("path", [links.dossier_data_path, links.dossier_page_path])
def test_a_dossier_that_is_not_there_is_not_found(site, path):
    assert site[0].application.test_client().get(path("a" * 32)).status_code == 404


# ---- what is typed into a dossier


class Seen(HTMLParser):
    """Tags that somebody's text became."""

    def __init__(self) -> None:
        super().__init__()
        self.bad: list[str] = []

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        if told.get("src") == "x" or "onerror" in told or any((v or "").strip().startswith("javascript:") for v in told.values()):
            self.bad.append(tag)


def harmful():
    """A dossier with markup in every text that an owner can type, a formula before it."""
    text = HARM[:70]
    entry = {"title": "=1+" + text, "headline": text, "firmware": text}
    report = {**REPORT, **entry, "recordings": [{**r, "firmware": text} for r in REPORT["recordings"]]}
    from app.dossiers.changing import with_trial

    tree = with_trial(new_dossier("=1+" + text, "pedals"), links.trial_path("A" * 32), "", lambda _: report).to_dict()
    tree["trials"] = [t | {"name": "=2+" + text, "rider": text, "unit": text, "rig": text, "note": text} for t in tree["trials"]]
    row = {"quantity": "=3+" + text, "unit": "<b>g", "readings": [1.0, 1.1], "claimed": 1.0}
    return dossier_from_dict({
        **tree, "reviewer": text, "conclusion": text, "limits": text,
        "firmware": [{"version": text, "since": "2026-01-01", "note": text}],
        "bench": [{"device": "@" + text, "row": row, "instrument": text, "note": text}],
        "incidents": [{"kind": "other", "what": "+" + text, "tried": text, "helped": text, "ended_with": text, "found_in": text}],
        "corrections": [{"day": "2026-01-01", "text": text, "who": text}],
        "reply": {"day": "2026-01-01", "text": text, "who": text}, "answers": {"3": text},
        "device": {"name": "pedals", "obtained_note": text, "currency": "<b>", "ties": text},
    })  # fmt: skip


@pytest.fixture(scope="module")
def bad_dossier(site):
    _, services, _ = site
    return services.store.dossiers.links.new_reader(services.store.dossiers.create(harmful()).address, label=HARM[:70])


def markup_in(node) -> list[str]:
    """Every piece of markup that the page's scripts put in as it is."""
    if isinstance(node, list):
        return [text for one in node for text in markup_in(one)]
    if not isinstance(node, dict):
        return []
    own = [node["data-html"]] if isinstance(node.get("data-html"), str) else []
    return own + [text for value in node.values() for text in markup_in(value)]


def test_markup_typed_into_a_dossier_is_text_on_its_page_and_in_its_file(site, bad_dossier):
    owner, services, _ = site
    key = services.store.dossiers.links.new_owner(bad_dossier)
    assert owner.get(links.dossier_owner_path(bad_dossier, key)).status_code == 303
    page = asked(owner, ".._pages_content.children..._pages_store.data..", bad_dossier)
    assert page.status_code == 200
    for client in (owner, owner.application.test_client()):
        with owner.application.test_request_context(headers={"Cookie": cookies(client)}):
            from plotly.utils import PlotlyJSONEncoder

            from app.dossiers import showing

            tree = json.loads(json.dumps(showing.content(bad_dossier), cls=PlotlyJSONEncoder))
        found = markup_in(tree)
        assert any("&lt;img src=x" in text for text in found)
        served = (client.get(path(bad_dossier)).text for path in (links.dossier_path, links.dossier_page_path))
        for text in (*found, *served):
            seen = Seen()
            seen.feed(text)
            assert seen.bad == []
            assert "<script>alert" not in text


def cookies(client) -> str:
    return "; ".join(f"{cookie.key}={cookie.value}" for cookie in client._cookies.values())


def test_a_saved_page_handed_out_gets_no_rights_on_this_server(site, bad_dossier):
    answer = site[0].get(links.dossier_page_path(bad_dossier))
    assert answer.headers["Content-Security-Policy"] == "sandbox allow-scripts"
    assert answer.headers["Content-Disposition"].startswith("attachment; filename=\"dossier-")


def test_no_cell_of_a_data_package_is_a_formula(site, bad_dossier):
    answer = site[0].get(links.dossier_data_path(bad_dossier))
    with zipfile.ZipFile(io.BytesIO(answer.data)) as archive:
        tables = [archive.read(name).decode() for name in archive.namelist() if name.endswith(".csv")]
    cells = [cell for text in tables for line in csv.reader(io.StringIO(text)) for cell in line]
    assert sum("<img src=x" in cell for cell in cells) >= 3
    for cell in cells:
        try:
            float(cell)
        except ValueError:
            assert not cell.lstrip().startswith(("=", "+", "-", "@")), cell
