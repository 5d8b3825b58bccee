"""Dossiers in the store and their forms. Referees: what was written, read back; a trial's own result."""

import json
from dataclasses import replace

import pytest
from plotly.utils import PlotlyJSONEncoder

from analysis.dossier.document import dossier_from_dict
from analysis.errors import BadSetup
from app.dossiers import showing
from app.dossiers.changing import changed_part, looked_at_again, new_dossier, with_answers, with_trial
from app.dossiers.fields import PARTS, typed
from app.links import trial_path
from app.services import CONFIG_KEY
from app.store import ChangedMeanwhile, NoSuchDossier

ADDRESS = "A" * 32
ROW = {"delta_pct": 2.0, "delta_pct_ci": [1.6, 2.4], "allowance_pct": [-3.0, 7.0], "likely_allowance_pct": [-1.0, 5.0],
       "verdict": "within", "blocks": 8, "n_s": 900.0}  # fmt: skip
REPORT = {
    "version": "8", "title": "First evening", "headline": "h", "reference": "hub", "drivetrain": {"loss_pct": [1, 4]},
    "recordings": [
        {"label": "hub", "point": "hub", "start_utc": "2026-03-01T18:00:00Z"},
        {"label": "pedals", "point": "pedal", "claim_pct": 1.5, "firmware": "2.07", "start_utc": "2026-03-01T18:00:00Z",
         "facts": {"health": [{"code": "dropout", "notable": True, "text": "2 holes"}]}},
        {"label": "spider", "point": "spider", "claim_pct": 1.5, "start_utc": None},
    ],
    "summary": [{**ROW, "label": "pedals", "kind": "steady"}], "levels": [], "findings": [], "blocks": [], "curves": [],
    "sprints": [], "blocks_hash": "x", "frozen": None,
}  # fmt: skip


@pytest.fixture
def dossier():
    return new_dossier("Pedals under review", "pedals")


def test_every_version_is_kept_and_the_later_of_two_owners_is_told(store, dossier):
    new = store.dossiers.create(dossier)
    changed = replace(dossier, conclusion="Reads true.")
    assert store.dossiers.change(new.address, changed, seen_version=1) == 2
    with pytest.raises(ChangedMeanwhile):
        store.dossiers.change(new.address, dossier, seen_version=1)
    found = store.dossiers.of(new.address)
    assert (found.dossier, found.version, found.private) == (changed, 2, True)
    assert found.changed_utc >= found.created_utc


def test_keys_open_their_own_dossier_and_no_other(store, dossier):
    one, two = store.dossiers.create(dossier), store.dossiers.create(dossier)
    owned = store.dossiers.links.owned
    assert owned(one.address, [one.owner_key])
    assert not owned(one.address, [two.owner_key, "", "x"])
    further = store.dossiers.links.new_owner(one.address)
    assert [d.address for d in store.dossiers.owned_by([further, two.owner_key])] == [two.address, one.address]


def test_what_was_deleted_is_nowhere(store, dossier):
    new = store.dossiers.create(dossier)
    store.dossiers.delete(new.address, seen_version=1)
    assert store.dossiers.of(new.address) is None
    with pytest.raises(NoSuchDossier):
        store.dossiers.change(new.address, dossier, seen_version=1)


def test_a_trial_is_added_by_its_link_with_what_went_wrong_in_it(dossier):
    got = with_trial(dossier, f"https://example.org{trial_path(ADDRESS)}?from=1.0&to=9.0", "", lambda _: REPORT)
    entry = got.trials[0]
    assert (entry.name, entry.label, entry.day, entry.link) == ("First evening", "pedals", "2026-03-01", trial_path(ADDRESS))
    assert entry.digest["summary"][0]["delta_pct"] == 2.0
    assert [(i.kind, i.what, i.found_in) for i in got.incidents] == [("drop-out", "2 holes", "First evening")]
    with pytest.raises(BadSetup, match="in the dossier already"):
        with_trial(got, trial_path(ADDRESS), "", lambda _: REPORT)


def ridden(n: int, **device):
    """Another ride of the same devices, n days later."""
    day = f"2026-03-{n:02d}T18:00:00Z"
    hub, pedals, spider = REPORT["recordings"]
    mine = pedals | {"start_utc": day, "sha256": f"{n:064d}"} | device
    return {**REPORT, "title": f"Evening {n}", "recordings": [hub | {"start_utc": day}, mine, spider]}


def test_one_recording_in_two_trials_is_one_ride(dossier):
    got = with_trial(dossier, trial_path(ADDRESS), "", lambda _: ridden(2))
    with pytest.raises(BadSetup, match="Evening 2 rests on the same recording"):
        with_trial(got, trial_path("B" * 32), "", lambda _: ridden(3, sha256=f"{2:064d}"))
    assert len(with_trial(got, trial_path("B" * 32), "", lambda _: ridden(3)).trials) == 2


def test_another_firmware_is_an_incident_and_part_of_the_history(dossier):
    got = with_trial(dossier, trial_path(ADDRESS), "", lambda _: ridden(2))
    got = with_trial(got, trial_path("B" * 32), "", lambda _: ridden(5, firmware="2.10"))
    assert [(i.day, i.what) for i in got.incidents if i.kind == "firmware"] == [
        ("2026-03-05", "Firmware 2.10 is on the device; it was 2.07 in the trial before.")
    ]
    assert [(f.version, f.since) for f in got.firmware] == [("2.07", "2026-03-02"), ("2.10", "2026-03-05")]
    back = with_trial(got, trial_path("C" * 32), "", lambda _: ridden(4, firmware="2.07"))
    assert [i.day for i in back.incidents if i.kind == "firmware"] == ["2026-03-05"], "ridden before the update, added later"


def test_a_new_title_is_no_moved_verdict(dossier):
    had = with_trial(dossier, trial_path(ADDRESS), "", lambda _: REPORT)
    got, _ = looked_at_again(had, lambda _: {**REPORT, "title": "Another title", "version": "9"})
    assert got.trials[0].earlier is None and got.trials[0].digest["title"] == "Another title"


def test_a_dossier_opens_without_any_recording_or_result(app, monkeypatch):
    """What it shows was kept with it: neither samples nor results are asked for."""
    store = app.server.config[CONFIG_KEY].store
    entries = with_trial(new_dossier("Pedals", "pedals"), trial_path(ADDRESS), "", lambda _: REPORT)
    reader = store.dossiers.links.new_reader(store.dossiers.create(entries).address)
    for name in ("recording", "kept_bytes", "trial"):
        monkeypatch.setattr(type(store), name, refuse)
    monkeypatch.setattr(type(app.server.config[CONFIG_KEY].jobs), "ask", refuse)
    with app.server.test_request_context():
        page = json.dumps(showing.content(reader), cls=PlotlyJSONEncoder)
    assert "First evening" in page
    assert "+2.0" in page


def refuse(*_args, **_more):
    raise AssertionError("a dossier asked for a recording or a result")


def test_which_device_is_meant_is_asked_and_not_guessed():
    other = new_dossier("Crank", "crank")
    with pytest.raises(BadSetup, match="It has pedals, spider; write its label"):
        with_trial(other, trial_path(ADDRESS), "", lambda _: {**REPORT, "summary": []})
    assert with_trial(other, trial_path(ADDRESS), "spider", lambda _: REPORT).trials[0].label == "spider"
    with pytest.raises(BadSetup, match="no link of a trial"):
        with_trial(other, "https://example.org/", "", lambda _: REPORT)


def test_looking_again_keeps_what_the_older_analysis_said(dossier):
    had = with_trial(dossier, trial_path(ADDRESS), "", lambda _: REPORT)
    newer = {**REPORT, "version": "9", "summary": [{**REPORT["summary"][0], "verdict": "outside", "delta_pct": 7.5}]}
    got, troubles = looked_at_again(had, lambda _: newer)
    assert troubles == ()
    assert got.trials[0].earlier == had.trials[0].digest
    assert got.trials[0].digest["summary"][0]["verdict"] == "outside"

    def gone(_):
        raise NoSuchDossier()

    kept, troubles = looked_at_again(had, gone)
    assert kept == had
    assert "First evening stays as it was" in troubles[0]


def forms(dossier):
    """What the page's form of every part would send, unchanged."""
    tree = json.loads(json.dumps(dossier.to_dict()))
    for part in PARTS.values():
        entry = tree if not part.path else tree[part.path]
        rows = entry if part.many else [entry or {}]
        yield {"part": part.name, "rows": [{f.key: sent(typed(f, row)) for f in part.fields} for row in rows]}


def sent(shown):
    return list(shown) if isinstance(shown, tuple) else "yes" if shown is True else shown or ""


def test_every_form_sent_as_it_stands_changes_nothing(dossier):
    full = dossier_from_dict({
        **with_trial(dossier, trial_path(ADDRESS), "", lambda _: REPORT).to_dict(),
        "conclusion": "Reads true.", "licence": "CC0-1.0", "firmware": [{"version": "2.07", "since": "2026-01-02"}],
        "bench": [{"device": "pedals", "row": {"quantity": "stack", "unit": "mm", "readings": [14.3, 14.35], "claimed": 14.0,
                                               "setup": 0.5, "stopped_early": True}}],
        "corrections": [{"day": "2026-04-01", "text": "A typing error."}], "reply": {"day": "2026-04-02", "text": "Thanks."},
        "device": {"name": "pedals", "point": "pedal", "claim_pct": 1.5, "price": 700.0, "obtained": "bought"},
    })  # fmt: skip
    for form in forms(full):
        assert changed_part(full, form) == full, form["part"]


def test_a_wrong_number_is_named_by_part_row_and_field(dossier):
    rows = [{"device": "pedals", "row.quantity": "mass", "row.unit": "g", "row.readings": "310; heavy"}]
    with pytest.raises(BadSetup, match=r"Bench sheet, row 1, readings must be a number such as 310 or 14\.35; got 'heavy'"):
        changed_part(dossier, {"part": "bench", "rows": rows})
    good = [{**rows[0], "row.readings": "310,5; 311 312"}, {"row.promise": "value"}]
    assert changed_part(dossier, {"part": "bench", "rows": good}).bench[0].row.readings == (310.5, 311.0, 312.0)


NONSENSE = [{}, {"part": "bench"}, {"part": "bench", "rows": [7]}, {"part": "all", "rows": []}, {"part": [], "rows": []}]


@pytest.mark.parametrize("form", NONSENSE)
def test_nonsense_from_a_browser_is_one_sentence(dossier, form):
    with pytest.raises(BadSetup, match="reload it and try again"):
        changed_part(dossier, form)


def test_blanks_of_the_checklist_are_answered_one_by_one(dossier):
    got = with_answers(dossier, {"3": " Road riders. ", "5": "", "6": 7})
    assert got.answers == {"3": "Road riders."}
