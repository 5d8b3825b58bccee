"""The dossier's document and coverage. Referees: round trip, a trial's own JSON, the scoping review's list."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from analysis.dossier.coverage import CONDITIONS, PROPERTIES, coverage_of
from analysis.dossier.digest import digest_of
from analysis.dossier.document import TrialEntry, dossier_from_dict
from analysis.errors import BadSetup, OutOfRange
from analysis.pipeline import compare
from analysis.reading import read
from analysis.setup import setup_from_toml

BOATHOUSE = Path(__file__).parents[2] / "sample_data" / "boathouse"


@pytest.fixture(scope="module")
def report():
    recordings = [read((BOATHOUSE / n).read_bytes(), name=n) for n in ("hub.fit", "spider.fit", "pedals.fit")]
    setup = setup_from_toml((BOATHOUSE / "setup.toml").read_text(), name="setup.toml")
    return json.loads(json.dumps(compare(recordings, setup).to_dict()))


@pytest.fixture(scope="module")
def entry(report):
    digest = digest_of(report, "pedals")
    return TrialEntry(key="t1", name="first evening", label="pedals", digest=digest, rider="A", where="indoors")


@pytest.fixture
def tree(entry):
    return {
        "title": "Pedals under review",
        "device": {"name": "pedals", "point": "pedal", "claim_pct": 1.5, "price": 700, "currency": "EUR"},
        "firmware": [{"version": "2.07", "since": "2026-01-10"}],
        "trials": [{"key": "t1", "name": "first evening", "label": "pedals", "digest": entry.digest}],
        "bench": [{"device": "pedals", "row": {"quantity": "mass", "unit": "g", "readings": [310, 311], "claimed": 316}}],
        "incidents": [{"kind": "pairing", "what": "left side not found", "helped": "new cell", "day": "2026-01-11"}],
        "reply": {"day": "2026-02-01", "text": "We are looking into it.", "who": "the maker"},
    }  # fmt: skip


def test_a_digest_says_what_the_result_says_and_nothing_of_samples_or_sensors(report):
    digest = digest_of(report, "pedals")
    steady = next(s for s in report["summary"] if s["label"] == "pedals" and s["kind"] == "steady")
    kept = next(s for s in digest["summary"] if s["kind"] == "steady")
    assert all(kept[key] == steady[key] for key in ("delta_pct", "delta_pct_ci", "allowance_pct", "verdict"))
    assert digest["headline"] == report["headline"]
    text = json.dumps(digest)
    assert len(text) < 20_000
    assert "serial" not in text
    with pytest.raises(OutOfRange, match=r"no device 'hub' that was held against its reference; it has spider, pedals"):
        digest_of(report, "hub")


def test_a_dossier_comes_back_from_json_as_it_was(tree):
    dossier = dossier_from_dict(tree)
    assert dossier_from_dict(json.loads(json.dumps(dossier.to_dict()))) == dossier
    assert dossier.bench[0].row.readings == (310.0, 311.0)


def test_a_dossier_needs_nothing_but_a_title_and_a_device():
    empty = dossier_from_dict({"title": "Hub", "device": {"name": "hub"}})
    assert (empty.trials, empty.bench, empty.reply) == ((), (), None)


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("device",), {}, "device.name must be text"),
        (("device", "point"), "wheel", "device.point must be one of pedal, crank"),
        (("bench", 0, "row", "readings"), ["heavy"], r"bench\[0\]\.row\.readings\[0\]\.reading must be a number"),
        (("bench", 0, "row", "resolution"), -1, r"bench\[0\]\.row\.resolution must be a number"),
        (("incidents", 0, "day"), "2026-02-30", r"incidents\[0\]\.day must be a date"),
        (("incidents", 0, "kind"), "magic", r"incidents\[0\]\.kind must be one of other, pairing"),
        (("trials", 0, "digest"), {"schema": "else"}, r"trials\[0\]\.digest must be what a trial's result gives"),
        (("trials", 0, "varied"), ["moon"], r"trials\[0\]\.varied may hold vibration"),
        (("reply", "day"), "", "reply.day is missing"),
        (("colour",), "red", "unknown key colour"),
        (("firmware",), {"a": 1}, "firmware must be a list"),
    ],
)
def test_what_cannot_be_kept_is_named_by_its_field(tree, path, value, words):
    spoilt = json.loads(json.dumps(tree))
    place = spoilt
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    with pytest.raises(BadSetup, match=words):
        dossier_from_dict(spoilt)


def test_a_trial_may_be_in_a_dossier_once(tree):
    with pytest.raises(BadSetup, match="'t1' twice"):
        dossier_from_dict(tree | {"trials": tree["trials"] * 2})


def test_coverage_lists_the_review_s_five_properties_and_nine_conditions_and_what_is_missing(entry):
    """doi 10.3390/s22010386: five properties (accuracy is split off as trueness), and the conditions that it asks for."""
    found = {t.name: t for t in coverage_of([entry])}
    assert tuple(found) == PROPERTIES + CONDITIONS
    assert found["power range"].state == "touched"
    assert "112 to 280 W" in found["power range"].why
    assert found["sprint"].state == found["temperature"].state == found["trueness"].state == "touched"
    assert (found["field"].state, found["vibration"].state, found["reproducibility"].state) == ("missing",) * 3
    assert all(bool(t.missing) == (t.state != "touched") for t in found.values())
    assert {t.state for t in coverage_of([])} == {"missing"}


def test_other_riders_units_and_roads_make_it_reproducible_and_robust(entry):
    rough = replace(entry, key="t3", unit="second", where="outdoors", varied=("vibration",))
    days = [entry, replace(entry, key="t2", rider="B"), rough]
    found = {t.name: t.state for t in coverage_of(days)}
    assert found["reproducibility"] == found["rider"] == found["field"] == found["vibration"] == found["robustness"] == "touched"
