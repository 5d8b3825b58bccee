"""A dossier whose trials were deleted, purged or closed since. Referees: what its page, its file and its data package say."""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import replace

import frictionless
import pytest
from plotly.utils import PlotlyJSONEncoder
from pretend import kept
from test_dossiers_kept import REPORT

from analysis.setup import Setup
from app import keeping, links
from app.dossiers import showing
from app.dossiers.changing import changed_part, new_dossier, with_trial
from app.services import CONFIG_KEY

CLOSED = "One trial can no longer be opened here: deleted, or the link given for it has ended."
ROW = "figures of 2026-03-02; no longer to be opened"


@pytest.fixture
def quoted(services):
    """Two trials and a published dossier that took the figures of both; addresses of the trials, of the dossier."""
    store = services.store
    pairs = [[(kept(store, f"power {200 + i}"), f"{i}") for i in (n, n + 1)] for n in (1, 5)]
    trials = [store.create_trial(own, Setup()).trial_id for own in pairs]
    dossier = new_dossier("Pedals", "pedals")
    for n, trial_id in enumerate(trials):
        report = {**REPORT, "title": f"Evening {n}"}
        dossier = with_trial(dossier, links.trial_path(trial_id), "", lambda _, report=report: report, today="2026-03-02")
    return trials, store.dossiers.links.new_reader(store.dossiers.create(dossier).address)


def page(app, address: str) -> str:
    with app.server.test_request_context():
        return json.dumps(showing.content(address), cls=PlotlyJSONEncoder)


@pytest.mark.parametrize("how", ["deleted", "revoked", "purged"])
def test_the_page_says_which_trials_are_gone_and_of_which_day_their_figures_are(quoted, app, services, how):
    (gone, stays), reader = quoted
    assert "no longer" not in page(app, reader)
    if how == "deleted":
        services.store.delete_trial(gone, seen_version=1)
    elif how == "revoked":
        services.store.links.revoke_reader(gone, gone, seen_version=1)
    else:
        services.store.openings.note(services.store.trial(stays).inner_id)
        for one, trial in services.store.forgotten("9999"):
            if trial.recordings[0][1] == "1":
                assert services.store.purge(one, trial, "9999") is not None
    said = page(app, reader)
    assert CLOSED in said
    assert said.count(ROW) == 1
    assert links.trial_path(gone) not in said
    assert links.trial_path(stays) in said
    assert "+2.0" in said  # the figures stand


def test_the_file_and_the_data_package_say_so_too(quoted, client, services, tmp_path):
    (gone, _), reader = quoted
    services.store.delete_trial(gone, seen_version=1)
    alone = client.get(links.dossier_page_path(reader))
    assert alone.status_code == 200
    assert CLOSED in alone.text
    assert ROW in alone.text
    answer = client.get(links.dossier_data_path(reader))
    assert answer.status_code == 200
    with zipfile.ZipFile(io.BytesIO(answer.data)) as archive:
        archive.extractall(tmp_path)
    assert frictionless.validate(str(tmp_path / "datapackage.json")).valid
    about = json.loads((tmp_path / "datapackage.json").read_text())["description"]
    assert "Without samples, because the trial could not be opened when this was made: Evening 0" in about


def test_looking_again_leaves_the_figures_of_what_is_gone(quoted, app, services):
    (gone, _), reader = quoted
    services.store.delete_trial(gone, seen_version=1)
    before = services.store.dossiers.of(reader).dossier
    with app.server.test_request_context():
        found, troubles = showing.changing.looked_at_again(before, showing.report_of, today="2026-06-01")
    assert "Evening 0 stays as it was: There is no trial at this address" in troubles[0]
    assert found.trials[0] == before.trials[0]


def test_the_delete_dialog_of_a_trial_says_that_dossiers_keep_its_figures(client, app):
    from asking import make

    trial_id = make(client, b"power 200", b"power 210").get_json()["id"]
    with app.server.test_request_context(headers={"Cookie": "; ".join(f"{c.key}={c.value}" for c in client._cookies.values())}):
        from app.views.links import links_panel

        said = str(links_panel(keeping.shelf(app.server.config[CONFIG_KEY].store.trial(trial_id))))
    assert "Dossiers that took its figures, of whomever, keep them" in said


@pytest.mark.parametrize("link", ["javascript:alert(1)", "https://evil.example/", "//evil.example", "/own/x"])
def test_a_form_cannot_give_a_trial_of_the_dossier_another_link_or_label(quoted, services, link):
    _, reader = quoted
    dossier = services.store.dossiers.of(reader).dossier
    rows = [{"key": t.key, "name": t.name, "link": link, "label": "hub", "taken": "2020-01-01"} for t in dossier.trials]
    changed = changed_part(dossier, {"part": "trials", "rows": rows})
    assert [(t.link, t.label, t.taken) for t in changed.trials] == [(t.link, t.label, t.taken) for t in dossier.trials]


def test_a_link_that_is_no_trials_is_never_drawn_as_one(quoted, app, services):
    (_, _), reader = quoted
    found = services.store.dossiers.of(reader)
    bad = replace(found.dossier, trials=tuple(replace(t, link="javascript:alert(1)") for t in found.dossier.trials))
    services.store.dossiers.change(reader, bad, seen_version=1)
    assert "javascript:" not in page(app, reader)
