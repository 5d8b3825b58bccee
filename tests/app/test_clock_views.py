"""Clocks on the page and by hand: what is said of them, who may change them, and what a change leaves alone."""

from __future__ import annotations

import json

import pytest
from asking import OURS, send, settled

from analysis.errors import BadSetup
from analysis.setup import setup_from_dict
from app.main import create_app
from app.nudges import shifts_of, with_shifts
from app.services import CONFIG_KEY, create_trial
from app.settings import Settings
from app.views import clock_words
from app.views.clock_request import clock_request
from app.views.clocks import clocks_section
from app.views.frozen import html_text
from app.views.hands import hands_panel

SETTLED = {
    "label": "pedals", "shift_s": -7.632, "shift_se_s": 0.008, "drift_ppm": -13.7, "drift_se_ppm": 12.2, "drift_applied": False,
    "drift_ci_ppm": [-40.6, 13.2], "via": "cadence", "correlation": 0.99, "settled": True, "note": "", "clock_shift_s": 0.0,
    "pattern_shift_s": -10.0, "pieces": [], "show": {"start_s": 10.0, "end_s": 50.0},
    "candidates": [
        {"via": "cadence", "shift_s": -7.633, "shift_se_s": 0.009, "correlation": 0.99, "margin": 530.0, "rival_shift_s": None,
         "rival_shifts_s": [], "settled": True, "used": True, "curve": {"shift_s": [-8.0, -7.0], "correlation": [0.9, 0.9]}},
        {"via": "power", "shift_s": -9.23, "shift_se_s": 0.01, "correlation": 0.98, "margin": 900.0, "rival_shift_s": None,
         "rival_shifts_s": [], "settled": True, "used": False, "curve": None},
    ],
}  # fmt: skip
PERIODIC = SETTLED | {
    "shift_s": -12.4, "shift_se_s": None, "settled": False, "via": "power", "drift_ppm": 0.0, "drift_se_ppm": None,
    "drift_ci_ppm": None, "note": "The match is ambiguous.",
    "candidates": [SETTLED["candidates"][1] | {"shift_s": 47.6, "margin": 0.4, "settled": False, "rival_shift_s": -12.4,
                                               "rival_shifts_s": [-12.4, 107.6]}],
}  # fmt: skip
UNMATCHED = PERIODIC | {"via": "clock", "shift_s": 0.0}
BY_HAND = SETTLED | {"via": "manual", "shift_s": -8.1, "shift_se_s": None, "note": "The shift was set by hand."}
HUB = {"label": "hub", "shift_s": 0.0, "shift_se_s": 0.0, "drift_ppm": 0.0, "via": "clock", "correlation": 1.0, "settled": True}
LABELS = ("hub", "pedals")


def report_of(entry, **more):
    files = [{"label": label, "file": f"{label}.fit"} for label in LABELS]
    return {"reference": "hub", "alignment": [HUB, entry], "response": [], "recordings": files, **more}


def texts(node) -> str:
    """All frozen text of a view, and what is not frozen, as one string."""
    if node is None or isinstance(node, (str, int, float)):
        return str(node or "")
    if isinstance(node, (list, tuple)):
        return " ".join(map(texts, node))
    props = node.to_plotly_json()["props"]
    return " ".join([str(props.get("data-html", "")), texts(props.get("children"))])


def section(entry, **more) -> str:
    return texts(clocks_section(8, report_of(entry, **more), LABELS))


def test_a_settled_clock_tells_everything_behind_its_shift():
    lag = {"label": "pedals", "lag_s": 1.609, "lag_ci_s": [1.59, 1.63], "note": ""}
    said = section(SETTLED, response=[lag])
    for words in (
        "−7.63 ± 0.01", "−14\u202fppm", "95 % interval −41 to +13", "not applied", "+1.61", "+1.59 to +1.63",
        "cadence: far ahead of any other shift (lead 530)", "off by 7.63", "−9.23", "settled, not used",
        "recognised, at about −10",
    ):  # fmt: skip
        assert words in said, words
    assert said.count('class="used"') == 1


@pytest.mark.parametrize("entry", [PERIODIC, UNMATCHED])
def test_a_clock_that_is_not_settled_never_gets_a_certain_number(entry):
    said = section(entry)
    assert "±" not in said.replace("shift ± standard error", "").replace("± s</th>", "")
    assert "<strong>−" not in said
    assert "<strong>+" not in said
    assert "only tried" in said
    assert "not settled" in said
    assert "unknown while the shift is" in said


def test_a_clock_by_hand_says_so_to_everybody():
    assert "set by hand" in section(BY_HAND)
    told = html_text(clock_request(report_of(BY_HAND), LABELS, owned=False))
    assert "was set by hand" in told
    assert "−8.10" in told


def test_a_lag_that_cannot_be_told_from_the_clock_gives_its_reason():
    silent = {"label": "pedals", "lag_s": None, "lag_ci_s": None, "note": "A response lag cannot be told from the clock."}
    assert "cannot be told from the clock" in section(SETTLED, response=[silent])


def test_a_clock_that_stood_still_shows_each_stretch():
    pieces = [
        {"start_s": None, "end_s": 600.0, "shift_s": 3.0, "shift_se_s": 0.04},
        {"start_s": 600.0, "end_s": None, "shift_s": 63.0, "shift_se_s": 0.05},
    ]
    assert "from the start: +3.00 ± 0.04\u202fs; from 10:00: +63.00 ± 0.05\u202fs" in section(SETTLED | {"pieces": pieces})


def test_only_the_owner_is_offered_the_candidates():
    report = report_of(PERIODIC)
    assert clock_request(report_of(SETTLED), LABELS, owned=True) is None
    reader, owner = (html_text(clock_request(report, LABELS, owned=owned)) for owned in (False, True))
    assert "<button" not in reader
    assert "A clock is not settled" in reader
    for shift_s in ("-12.4", "47.6", "107.6", "0.0"):
        assert f'data-value="{shift_s}"' in owner


def test_equal_shifts_are_one_proposal_and_peaks_of_noise_are_none():
    found = {p.shift_s: p.words for p in clock_words.proposals(PERIODIC)}
    assert list(found) == [-12.4, 47.6, 107.6, 0.0]
    assert found[-12.4].startswith("in use now; another peak of power")
    assert [p.shift_s for p in clock_words.proposals(UNMATCHED)] == [0.0]


def test_the_panel_by_hand_offers_each_device_but_not_the_reference():
    said = texts(hands_panel(report_of(SETTLED), LABELS))
    assert said.count("data-clock=") == 1
    assert [step for step in ("-1", "-0.1", "0.1", "1") if f'data-clock-step="{step}"' not in said] == []
    assert 'data-file="pedals.fit"' in said


@pytest.mark.parametrize(
    ("form", "words"),
    [
        (None, "No shift was given"),
        ({"shifts": {}}, "No shift was given"),
        ({"shifts": {"nobody.fit": 1.0}}, "no file called 'nobody.fit'"),
        ({"shifts": {"b.fit": "7"}}, "must be a number of seconds"),
        ({"shifts": {"b.fit": True}}, "must be a number of seconds"),
        ({"shifts": {"b.fit": float("nan")}}, "must be a number of seconds"),
    ],
)
def test_what_is_no_shift_is_refused_in_words(form, words):
    with pytest.raises(BadSetup, match=words):
        shifts_of(form, ["a.fit", "b.fit"])


def test_a_shift_by_hand_leaves_all_else_in_the_setup():
    tree = {
        "trial": {"title": "Evening", "reference": "hub"},
        "drivetrain": {"loss_pct": [2.0, 3.0]},
        "device": [{"file": "a.fit", "label": "hub"}, {"label": "pedals", "claim_pct": 1.0, "firmware": "4"}],
        "plan": [{"name": "hold", "duration_s": 600, "kind": "steady"}],
    }
    setup = setup_from_dict(tree)
    kept = with_shifts(setup, {"b.fit": -7.53, "c.fit": 2.0}, {"b.fit": "pedals"})
    devices = {d.label or d.file: d for d in kept.devices}
    assert (devices["pedals"].shift_s, devices["pedals"].firmware, devices["c.fit"].shift_s) == (-7.53, "4", 2.0)
    assert with_shifts(kept, {"b.fit": None}, {"b.fit": "pedals"}).devices[:2] == setup.devices
    assert (kept.plan, kept.title, kept.loss_pct) == (setup.plan, setup.title, setup.loss_pct)
    with pytest.raises(BadSetup, match="shift_s"):
        with_shifts(setup, {"c.fit": 1e12}, {})


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("clocks")
    app = create_app(Settings(data_dir=folder, cache_dir=folder / "results"))
    services, client = app.server.config[CONFIG_KEY], app.server.test_client()
    rows = "\n".join(f"{1_768_673_100 + t},{200 + 40 * (t // 97 % 2) + t % 7},{88 + t % 3}" for t in range(900))
    sent = [
        send(client, f"time,power,cadence\n{rows}\n{1_768_674_100 + i},200,90\n".encode(), f"{i}.csv").get_json()
        for i in range(2)
    ]
    new = create_trial(services, sent, {})
    settled(services.jobs, new.trial_id)
    yield app, services, new
    services.jobs.close()


def ask(client, output: str, inputs: dict, state: dict):
    outputs = [{"id": o.rsplit(".", 1)[0], "property": o.rsplit(".", 1)[1]} for o in output.strip(".").split("...")]
    told = [
        [{"id": k.rsplit(".", 1)[0], "property": k.rsplit(".", 1)[1], "value": v} for k, v in d.items()] for d in (inputs, state)
    ]
    body = {
        "output": output, "outputs": outputs if output.startswith("..") else outputs[0], "inputs": told[0], "state": told[1],
        "changedPropIds": [next(iter(inputs))],
    }  # fmt: skip
    return client.post("/_dash-update-component", json=body, headers=OURS)


def keep(client, trial_id, form):
    """A shift sent as the page sends it; what is on the screen besides is not told."""
    rule = next(d for d in client.get("/_dash-dependencies").json if "hands-problem" in d["output"])
    state = {f"{told['id']}.{told['property']}": None for told in rule["state"]}
    return ask(client, rule["output"], {"hands-form.data": form}, state | {"trial-id.data": trial_id})


def test_a_stranger_cannot_set_a_clock(site):
    app, services, new = site
    answer = keep(app.server.test_client(), new.trial_id, {"shifts": {"1.csv": 5.0}})
    assert "Only the owner may change this trial" in json.dumps(answer.json)
    assert services.store.trial(new.trial_id).setup_version == 1


@pytest.mark.parametrize(
    "form", [None, 7, "x", [], {}, {"shifts": 3}, {"shifts": {"1.csv": "soon"}}, {"shifts": {"1.csv": 1e15}}]
)
def test_an_owners_nonsense_is_answered_in_a_sentence(site, form):
    app, services, new = site
    client = app.server.test_client()
    client.get(f"/own/{new.trial_id}/{new.owner_key}")
    before = services.store.trial(new.trial_id).setup_version
    answer = keep(client, new.trial_id, form)
    assert answer.status_code == 200
    assert "This did not work" in json.dumps(answer.json)
    assert services.store.trial(new.trial_id).setup_version == before


def test_a_shift_for_a_set_up_that_another_owner_changed_meanwhile_is_refused(site):
    app, services, new = site
    client, store = app.server.test_client(), services.store
    client.get(f"/own/{new.trial_id}/{new.owner_key}")
    version = store.change_setup(new.trial_id, store.trial(new.trial_id).setup)
    for seen in (str(version - 1), "", "x"):
        answer = keep(client, new.trial_id, {"shifts": {"1.csv": 5.0}, "seen": seen})
        assert "Somebody else changed this trial meanwhile" in json.dumps(answer.json)
    assert store.trial(new.trial_id).setup_version == version
    keep(client, new.trial_id, {"shifts": {"1.csv": 5.0}, "seen": str(version)})
    assert store.trial(new.trial_id).setup_version == version + 1


@pytest.mark.parametrize(
    "index", [None, 3, "", "match:", "match:0", "match:99", "match:-1", "other:1", "match:1:1", "match:²", "stretch:1"]
)
def test_a_picture_that_is_not_there_is_no_fault(site, index):
    """And one that is there is drawn, so that the others are not silent for a reason of the test's own."""
    app, services, new = site
    settled(services.jobs, new.trial_id)  # a change just kept is analysed anew; until then no picture is there
    picture, seen = ({"index": index, "type": kind} for kind in ("clock-picture", "clock-seen"))
    body = {
        "output": '{"index":["MATCH"],"type":"clock-picture"}.children',
        "outputs": {"id": picture, "property": "children"},
        "inputs": [
            {"id": seen, "property": "data", "value": True},
            {"id": "theme", "property": "data", "value": "light"},
        ],
        "state": [
            {"id": seen, "property": "id", "value": seen},
            {"id": "trial-id", "property": "data", "value": new.trial_id},
        ],
        "changedPropIds": ["theme.data"],
    }
    answer = app.server.test_client().post("/_dash-update-component", json=body, headers=OURS)
    assert answer.status_code in (200, 204)
    assert ("figure" in answer.get_data(as_text=True)) == (index == "stretch:1")
