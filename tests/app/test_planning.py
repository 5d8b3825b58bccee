"""The ride plan's page, as a stranger meets it too. Referees: a draft's round trip, fitdecode, the set-up reader."""

from __future__ import annotations

import copy
import io
import json
from dataclasses import replace

import fitdecode
import pytest
from test_pages import NONSENSE, call

from analysis.default_design import core_design, default_design
from analysis.designing import Aim, fingerprint, plan_steps
from analysis.setup import setup_from_toml
from app import links
from app.planning.access import cookie_name
from app.planning.drafts import plain_texts, read_draft, texts_of
from app.planning.looking import told

AIM = Aim(claim_pct=1.5, reference_claim_pct=1.0, point="pedal", reference_point="hub", loss_pct=(1.5, 4.0))
DESIGN = replace(core_design(261.0), title='Kiln = <b> "first"', aim=AIM, seed=7)
ACT = "..plan-body.children...plan-token.data...plan-version.data...plan-said.children...plan-go.href.."


@pytest.fixture
def kept(services):
    return services.store.plans.create(DESIGN)


def act(client, app, name: str, *, token=None, version=0, draft=None, key: str | None = None):
    if key:
        with app.server.test_request_context():
            client.set_cookie(cookie_name(token), key)
    outputs = [{"id": o.rsplit(".", 1)[0], "property": o.rsplit(".", 1)[1]} for o in ACT.strip(".").split("...")]
    body = {
        "output": ACT, "outputs": outputs, "changedPropIds": ["plan-act.data"],
        "inputs": [{"id": "plan-act", "property": "data", "value": {"act": name, "draft": draft or texts_of(DESIGN), "sent": 1}}],
        "state": [{"id": "plan-token", "property": "data", "value": token},
                  {"id": "plan-version", "property": "data", "value": version}],
    }  # fmt: skip
    answer = client.post("/_dash-update-component", json=body, headers={"Origin": "http://localhost"})
    assert answer.status_code == 200, answer.data
    return answer


def changed(path: tuple, value: str) -> dict:
    draft = copy.deepcopy(texts_of(DESIGN))
    at = draft
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value
    return draft


@pytest.mark.parametrize("design", [DESIGN, default_design(250.0)], ids=["core", "whole"])
def test_a_draft_says_what_it_was_made_from(design):
    draft = json.loads(json.dumps(texts_of(design)))
    assert read_draft(draft).design == design
    assert plain_texts(draft) == draft


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("hour",), "", "State your one-hour power"),
        (("hour",), "5", "from 50 to 600 watts; got '5'"),
        (("title",), "", "Give the plan a title"),
        (("seed",), "1.5", "whole number"),
        (("loss-high",), "1", "must not end below"),
        (("claim",), "x", "from 0 to 50 percent"),
        (("parts", 3, "repeats"), "0", "whole number from 1 to 40; got '0'"),
        (("parts", 3, "steps", 0, "length"), "3 min", "minutes and seconds as 3:00"),
        (("parts", 3, "steps", 0, "target"), "nan", "percent of the one-hour power; got 'nan'"),
        (("parts", 3, "steps", 0, "cadence"), "900", "from 20 to 200 rpm"),
        (("parts", 1, "steps", 1, "length"), "2:00", "sync pattern lasts 1:00; got 2:00"),
        (("parts", 3, "steps", 0, "name"), "", "Give the step a name"),
    ],
)
def test_a_slip_is_told_at_its_field_and_nowhere_else(path, value, words):
    found, answer = told(changed(path, value))
    assert found is None
    assert list(answer["problems"]) == [".".join(map(str, path))]
    assert words in answer["problems"][".".join(map(str, path))]


def test_two_slips_are_told_at_once():
    draft = changed(("parts", 3, "repeats"), "many")
    draft["parts"][0]["steps"][0]["length"] = "soon"
    assert set(told(draft)[1]["problems"]) == {"parts.3.repeats", "parts.0.steps.0.length"}


def test_what_comes_of_it_follows_the_texts():
    found, answer = told(texts_of(DESIGN))
    assert "Can this plan settle a claim of" in found.answer
    assert "Not for anyone who is unwell" in found.steps  # sprints are in it
    assert answer["parts"][3] == "10 steps · 20:00"
    longer, _ = told(changed(("parts", 3, "repeats"), "3"))
    assert longer.top != found.top and "1:42:50" in longer.top
    trainer, _ = told(changed(("parts", 3, "steps", 0, "kept"), "trainer"))
    assert "pushes back harder" in trainer.steps and "pushes back harder" not in found.steps
    assert "<b>" not in "".join((found.top, found.answer, found.steps))


def test_kept_by_whoever_typed_it_and_frozen_for_everybody(client, app, services):
    answer = act(client, app, "keep")
    token = answer.get_json()["response"]["plan-token"]["data"]
    assert "HttpOnly" in answer.headers["Set-Cookie"]
    assert services.store.plans.of(token).design == DESIGN
    told = act(client, app, "freeze", token=token, version=1, draft=changed(("seed",), "8")).get_json()["response"]
    stored = services.store.plans.of(token)
    assert stored.fingerprint == fingerprint(replace(DESIGN, seed=8))
    assert stored.fingerprint in json.dumps(told)
    late = act(client, app, "save", token=token, version=told["plan-version"]["data"]).get_json()["response"]
    assert "stays as it is" in json.dumps(late["plan-said"])
    assert services.store.plans.of(token) == stored


@pytest.mark.parametrize("name", ["save", "freeze", "delete", "dance"])
def test_a_reader_changes_nothing(client, app, services, kept, name):
    before = services.store.plans.of(kept.token)
    answer = act(client, app, name, token=kept.token, version=1, draft=texts_of(default_design(200.0))).get_json()["response"]
    assert "Only the owner may change this plan" in json.dumps(answer["plan-said"])
    assert services.store.plans.of(kept.token) == before
    wrong = act(client, app, name, token=kept.token, version=1, key="k" * 43).get_json()["response"]
    assert "Only the owner" in json.dumps(wrong["plan-said"])


def test_its_owner_deletes_it_also_for_readers(client, app, services, kept):
    act(client, app, "delete", token=kept.token, key=kept.owner_key)
    assert services.store.plans.of(kept.token) is None
    assert client.get(links.plan_path(kept.token)).status_code == 404
    assert client.get(links.plan_toml_path(kept.token)).status_code == 404


def test_the_owner_link_gives_the_key_and_a_wrong_one_nothing(client, kept):
    answer = client.get(links.plan_owner_path(kept.token, kept.owner_key))
    assert (answer.status_code, answer.headers["Location"]) == (303, links.plan_path(kept.token))
    assert {"HttpOnly", "SameSite=Lax"} <= {part.strip() for part in answer.headers["Set-Cookie"].split(";")}
    wrong = client.get(links.plan_owner_path(kept.token, "k" * 43))
    assert wrong.status_code == 404 and "Set-Cookie" not in wrong.headers


def test_downloads_are_the_plan(client, kept):
    toml = client.get(links.plan_toml_path(kept.token))
    assert setup_from_toml(toml.text).plan == plan_steps(DESIGN)
    workout = client.get(links.plan_workout_path(kept.token))
    with fitdecode.FitReader(io.BytesIO(workout.data), check_crc=fitdecode.CrcCheck.RAISE) as fit:
        messages = [m for m in fit if isinstance(m, fitdecode.FitDataMessage) and m.name == "workout_step"]
    seconds = [m.get_value("duration_time") for m in messages]
    assert sum(seconds) == sum(step.duration_s for step in plan_steps(DESIGN))
    for answer in (toml, workout):
        assert answer.headers["Content-Disposition"].startswith("attachment")


def test_a_new_trial_s_sheet_is_handed_the_plan(app, kept):
    with app.server.test_request_context(links.new_trial_path(kept.token)):
        from app.pages import home

        page = json.dumps(home.layout(plan=kept.token).to_plotly_json(), default=lambda part: part.to_plotly_json())
        nobody = json.dumps(home.layout(plan="x" * 32).to_plotly_json(), default=lambda part: part.to_plotly_json())
    assert "is used: its steps will stand in the sheet" in page and json.dumps("[[plan]]")[1:-1] in page
    assert "[[plan]]" not in nobody


def test_a_draft_is_handed_to_a_new_trial_s_sheet_and_a_slip_in_it_is_told(app):
    output = "..setup-text.data...plan-handed.children.."
    good = call(app, output, [("plan-draft.data", {"draft": texts_of(DESIGN)})], []).json["response"]
    assert setup_from_toml(good["setup-text"]["data"]).plan == plan_steps(DESIGN)
    assert "a draft" in json.dumps(good["plan-handed"])
    slip = {"draft": changed(("hour",), "many")}
    for sent, words in (slip, "got 'many'"), (None, "holds no draft"), ({"draft": 7}, "holds no draft"):
        bad = call(app, output, [("plan-draft.data", sent)], []).json["response"]
        assert bad["setup-text"]["data"] is None and words in json.dumps(bad["plan-handed"])


def test_what_nobody_chose_is_said_to_be_assumed_until_it_is_chosen():
    draft = texts_of(default_design(250.0))
    assert "assumed until you choose" in told(draft)[0].answer
    assert "Assumed and not chosen: the drivetrain loss." in told(draft | {"assumed": "loss_pct"})[0].answer
    assert "ssumed" not in told(draft | {"assumed": ""})[0].answer


def test_a_plan_with_nothing_assumed_keeps_the_fingerprint_that_it_had_before_assumptions_were_told():
    """Frozen by a version that knew none; from then on readers hold this hash."""
    assert fingerprint(DESIGN) == "7fef0f3910f5baf6d30991c29a8811a62ab9078f471ce3c40a62c9f0c6d513e4"


@pytest.mark.parametrize("path", [links.PLAN, f"{links.PLAN}?copy=nonsense", "/?plan=7"])
def test_pages_answer(client, path):
    assert client.get(path).status_code == 200


@pytest.mark.parametrize("value", [*NONSENSE, {"parts": [7, {"steps": 3}, {"steps": [None]}]}], ids=lambda v: json.dumps(v)[:20])
def test_no_callback_of_the_page_stumbles_over_what_a_browser_may_send(app, kept, value):
    reckoned = "..plan-top.data-html...plan-answer.data-html...plan-steps.data-html...plan-told.data.."
    answers = [
        call(app, reckoned, [("plan-typed.data", value)], []),
        call(app, "plan-editor.data-html", [("plan-start.data", value)], []),
        call(app, "plan-editor.data-html", [("plan-start.data", {"draft": value})], []),
        call(app, ACT, [("plan-act.data", value)], [("plan-token.data", value), ("plan-version.data", value)]),
        call(app, ACT, [("plan-act.data", {"act": "keep", "draft": value})],
             [("plan-token.data", None), ("plan-version.data", 0)]),
    ]  # fmt: skip
    assert [a.status_code for a in answers] == [200] * 5
