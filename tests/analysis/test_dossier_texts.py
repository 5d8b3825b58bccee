"""Methods, checklist, incidents, data package. Referees: frictionless (the standard's validator), the digests."""

import csv
import io
import json
from dataclasses import replace

import frictionless
import numpy as np
import pytest

from analysis.bench_sheet import Row
from analysis.dossier.document import BenchEntry, Device, Dossier, Incident, TrialEntry
from analysis.dossier.incidents import incidents_in
from analysis.dossier.methods import checklist_of, methods_text
from analysis.dossier.packaging import package_files
from analysis.dossier.standing import stand_of
from made import trial_of

RIDDEN = {
    "power_w": [112.0, 281.0], "cadence_rpm": [60, 100], "torque_nm": [10, 40], "temperature_degc": None, "sprints": 4,
    "holds": 8, "levels": 4, "repeated_levels": 4, "positions": [],
}  # fmt: skip


def entry(key="t1", delta=2.0, **more):
    row = {"delta_pct": delta, "delta_pct_ci": [delta - 0.4, delta + 0.4], "allowance_pct": [-3.0, 7.0], "blocks": 8}
    digest = {
        "schema": "countercheck-digest/1", "firmware": "2.07", "start_utc": "2026-03-01T10:00:00Z", "devices": 3,
        "ridden": RIDDEN, "levels": [{**row, "level_w": 200.0}], "summary": [{**row, "kind": "steady"}],
        "reference": "hub", "reference_point": "hub", "plan": "setup",
        "frozen": None, "edited_blocks": 2, "excluded_blocks": 1, "version": "8",
    }  # fmt: skip
    return TrialEntry(key=key, name=f"=evening {key}", label="pedals", digest=digest, day="2026-03-01", **more)


@pytest.fixture
def dossier():
    return Dossier(
        title="Pedals, three evenings", device=Device(name="pedals", point="pedal", claim_pct=1.5, obtained="bought"),
        trials=(entry("t1", rider="A", rig="steel frame, new chain"), entry("t2", 2.5, rider="B", where="outdoors")),
        licence="CC-BY-4.0", reviewer="R. Ider",
        bench=(BenchEntry(device="pedals", row=Row(quantity="mass", unit="g", readings=(310.0, 311.0), claimed=316.0)),),
        incidents=(Incident(day="2026-03-02", kind="pairing", what="left side not found"),),
    )  # fmt: skip


def test_the_method_says_what_was_done_and_no_more(dossier):
    text = " ".join(methods_text(dossier))
    for fact in ("claims ±1.5 %", "It was bought", "2 trials ridden on 2026-03-01 by 2 riders (A, B); 1 outdoors",
                 "112 and 281 W", "2 followed a plan",
                 "in none the blocks were frozen", "the reference (hub)", "4 blocks edited by hand, 2 excluded",
                 "Firmware of the device: 2.07"):  # fmt: skip
        assert fact in text, fact
    assert methods_text(replace(dossier, trials=())) == ("No trial has been ridden yet.",)


def test_the_checklist_has_fifteen_items_and_names_what_is_blank(dossier):
    items = checklist_of(dossier, stand_of(dossier.trials))
    assert [i.number for i in items] == list(range(1, 16))
    assert sum(bool(i.known) for i in items) >= 9
    assert all(bool(i.known) != bool(i.blank) for i in items), "known or asked for, never neither"
    blank = {i.number for i in items if i.blank}
    assert {3, 5, 6, 14} <= blank
    told = checklist_of(replace(dossier, answers={"5": "Two earlier reviews."}), stand_of(dossier.trials))
    assert (told[4].known, told[4].blank) == ("Two earlier reviews.", "")


def test_recordings_tell_of_batteries_zeros_and_drop_outs():
    low = {"battery_status": "low"}
    health = [{"code": code, "notable": True, "text": text} for code, text in (("dropout", "2 holes"), ("pause", "1 pause"))]
    facts = {
        "sensors": [{"type": "bike_power", "battery_last_v": 2.41, **low}, {"type": "heart_rate", **low}],
        "calibrations": [{"at_s": 125.0, "value": 9}],
        "health": health,
    }
    report = {
        "recordings": [{"label": "pedals", "start_utc": "2026-03-01T10:00:00Z", "facts": facts}],
        "findings": [{"label": label, "code": "stuck", "text": f"{label} held"} for label in ("pedals", "hub")],
    }
    found = incidents_in(report, "pedals", trial="first")
    assert [(i.kind, i.what) for i in found] == [
        ("battery", "The recording says that the battery was low at 2.41 V."), ("zero", "Zeroed at 2:05, value 9."),
        ("drop-out", "2 holes"), ("drop-out", "pedals held"),
    ]  # fmt: skip
    assert {i.day for i in found} == {"2026-03-01"}
    assert incidents_in(report, "spider", trial="first") == ()


def test_the_data_package_is_valid_and_holds_neither_place_nor_clock(dossier, tmp_path):
    t = np.arange(100.0)
    secret = {"time_s": t, "power_w": 200 + t, "heart_rate_bpm": 150 + 0 * t, "altitude_m": 77.7 + 0 * t}
    files = package_files(dossier, {"t1": trial_of([secret, {**secret, "power_w": 210 + t}])}, version="8")
    for name, data in files.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(data)
    checked = frictionless.validate(str(tmp_path / "datapackage.json"))
    assert checked.valid, checked.flatten(["type", "note"])
    package = json.loads(files["datapackage.json"])
    assert package["licenses"][0]["name"] == "CC-BY-4.0"
    assert {f["name"]: f.get("unit") for f in package["resources"][-1]["schema"]["fields"]} == {"time_s": "s", "power_w": "W"}
    everything = b"".join(files.values())
    assert b"77.7" not in everything
    assert b"heart" not in everything
    rows = list(csv.DictReader(io.StringIO(files["data/deltas.csv"].decode())))
    assert rows[0]["trial"] == "'=evening t1", "no formula for a spreadsheet to run"
    assert float(rows[0]["delta_pct"]) == 2.0


def test_a_table_that_was_touched_afterwards_is_found_out(dossier, tmp_path):
    files = package_files(dossier, {}, version="8")
    for name, data in files.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(data.replace(b"left side", b"both side") if name.endswith("incidents.csv") else data)
    checked = frictionless.validate(str(tmp_path / "datapackage.json"))
    assert not checked.valid
    assert "hash" in str(checked.flatten(["type"]))
