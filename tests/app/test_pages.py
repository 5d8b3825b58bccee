"""Callbacks as a stranger may call them: any JSON at all must end in an answer, never in a fault. Referee: status codes."""

from __future__ import annotations

import json

import pytest
from asking import settled

from app import showing
from app.main import create_app
from app.services import CONFIG_KEY, create_trial
from app.settings import Settings

CSV = "time,power,cadence\n" + "\n".join(f"{1_768_673_100 + t},{200 + t % 7},{88 + t % 3}" for t in range(600))


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    app = create_app(Settings(data_dir=folder, cache_dir=folder / "results"))
    services = app.server.config[CONFIG_KEY]
    client, ours = app.server.test_client(), {"X-Requested-With": "countercheck", "Origin": "http://localhost"}
    files = []
    for i in range(2):
        data = (CSV + f"\n{1_768_673_800 + i},200,90").encode()
        files.append(client.post("/upload", data=data, headers=ours | {"X-File-Name": f"{i}.csv"}).json)
    new = create_trial(services, files, {})
    yield app, services, new
    services.jobs.close()


def call(app, output: str, inputs: list, state: list):
    """POST a callback as the page does; ids and properties as `id.property` with their values."""

    def told(pairs):
        return [{"id": n.rsplit(".", 1)[0], "property": n.rsplit(".", 1)[1], "value": v} for n, v in pairs]

    outputs = [{"id": o.rsplit(".", 1)[0], "property": o.rsplit(".", 1)[1]} for o in output.strip(".").split("...")]
    body = {
        "output": output,
        "outputs": outputs if output.startswith("..") else outputs[0],
        "inputs": told(inputs),
        "state": told(state),
        "changedPropIds": [inputs[0][0]],
    }
    return app.server.test_client().post("/_dash-update-component", json=body, headers={"Origin": "http://localhost"})


NONSENSE = [None, 7, "x", "x" * 5000, [], [1], [1, "a"], [5, 1], {}, {"files": 3}, {"files": [None, {"id": 1}], "typed": 5}]


@pytest.mark.parametrize("value", NONSENSE, ids=lambda v: json.dumps(v)[:20])
def test_no_callback_stumbles_over_what_a_browser_may_send(site, value):
    app, _, new = site
    calls = [
        (
            "interval-card.data-html",
            [("trial-window.data", value), ("trial-screen.data", value)],
            [("trial-id.data", new.trial_id)],
        ),
        (
            "interval-card.data-html",
            [("trial-window.data", None), ("trial-screen.data", None)],
            [("trial-id.data", value)],
        ),
        (
            "..overlay.figure...chart-box.style..",
            [("trial-view.data", value), ("trial-screen.data", value), ("theme.data", value), ("trial-nudge.data", value)],
            [("trial-id.data", new.trial_id)],
        ),
        (
            "..overlay.figure...chart-box.style..",
            [("trial-view.data", None), ("trial-screen.data", None), ("theme.data", "light"), ("trial-nudge.data", {"1": value})],
            [("trial-id.data", new.trial_id)],
        ),
        (
            "..overlay.figure...chart-box.style..",
            [("trial-view.data", None), ("trial-screen.data", value), ("theme.data", "light"), ("trial-nudge.data", None)],
            [("trial-id.data", value)],
        ),
        (
            "..trial-content.children...changing.children..",
            [("trial-poll.data", value)],
            [(f"trial-{name}.data", value) for name in ("id", "window", "view", "screen")]
            + [("changing.children", value), ("theme.data", value)],
        ),
        ("plan-read.data-html", [("plan-asked.data", value)], []),
        (
            "..notes.data-html...note-layer.data-html...notes-problem.children..",
            [("notes-form.data", value)],
            [("trial-id.data", value)],
        ),
        ("plan-read.data-html", [("plan-asked.data", {"recording": value, "name": value, "sent": value})], []),
        ("trial-rest.children", [("rest-wanted.data", value)], [("trial-id.data", value), ("trial-screen.data", value)]),
        ("trial-rest.children", [("rest-wanted.data", 1)], [("trial-id.data", new.trial_id), ("trial-screen.data", value)]),
        ("held-against.figure", [("theme.data", value)], [("trial-id.data", new.trial_id)]),
        ("sheet.children", [("uploads.data", value), ("setup-text.data", None)], []),
        (
            next(output for output in app.callback_map if output.startswith("..go.href")),
            [("new-form.data", value)],
            [("uploads.data", value), ("setup-text.data", None)],
        ),
    ]
    answers = [call(app, *one) for one in calls]
    assert [a.status_code for a in answers if a.status_code not in (200, 204)] == [], answers


def test_the_first_view_leaves_the_tables_for_later_and_the_rest_brings_them(site):
    app, _, new = site
    settled(app.server.config[CONFIG_KEY].jobs, new.trial_id)
    with app.server.test_request_context("/"):
        first = json.dumps(showing.first_view(new.trial_id), default=lambda c: c.to_plotly_json())
    assert "headline" in first
    assert "data-later" in first
    assert "data-block=" not in first
    answer = call(
        app, "trial-rest.children", [("rest-wanted.data", 1)], [("trial-id.data", new.trial_id), ("trial-screen.data", None)]
    )
    assert answer.status_code == 200
    assert "data-block=" in answer.text
    hidden = call(
        app, "trial-rest.children", [("rest-wanted.data", 1)], [("trial-id.data", "x" * 32), ("trial-screen.data", None)]
    )
    assert hidden.status_code == 204
