"""The sheet's fields become the set-up they describe; a browser may send what it likes. Referee: hand-made entries."""

from __future__ import annotations

import json
import re

import pytest
from plotly.utils import PlotlyJSONEncoder

from analysis.errors import BadSetup
from analysis.setup import DEFAULT_LOSS_PCT, setup_from_dict
from app import ids, starting
from app.forms import SheetEntries, device_for, entries_of, fields_of, setup_of
from app.ride_plan import texts_of

FILES = [("aa", "hub.fit"), ("bb", "pedals.fit")]
SENT = {
    "rows": {
        "aa": {"label": " hub ", "point": "hub", "claim": "1,5", "firmware": "3.10"},
        "bb": {"label": "pedals", "point": "", "claim": "", "firmware": "", "shift": "−7.6"},
    },
    "reference": "aa",
    "title": "Evening",
    "loss-low": "1",
    "loss-high": "4",
    "sent": 3,
}


def changed(part: str, text: str) -> dict:
    return SENT | {"rows": SENT["rows"] | {"bb": SENT["rows"]["bb"] | {part: text}}}


def test_a_sheet_becomes_the_set_up_it_describes():
    setup = setup_of(FILES, entries_of(SENT))
    expected = {
        "trial": {"title": "Evening", "reference": "hub"},
        "drivetrain": {"loss_pct": [1.0, 4.0]},
        "device": [
            {"file": "hub.fit", "label": "hub", "point": "hub", "claim_pct": 1.5, "firmware": "3.10"},
            {"file": "pedals.fit", "label": "pedals", "shift_s": -7.6},
        ],
    }
    assert setup == setup_from_dict(expected)


def test_the_power_that_was_chosen_is_part_of_the_set_up_and_offered_only_where_there_are_two():
    setup = setup_of(FILES, entries_of(changed("power", "developer")))
    assert [d.power for d in setup.devices] == [None, "developer"]
    uploads = [{"id": key, "name": name, "channels": ["power_w"]} for key, name in FILES]
    uploads[1]["channels"].append("developer_power_w")
    shown = json.dumps(starting.sheet(uploads, entries_of(changed("power", "developer")), None), cls=PlotlyJSONEncoder)
    assert shown.count("Power taken from") == 1
    assert "new-power-bb" in shown
    assert "new-power-aa" not in shown


def test_what_is_left_open_stays_open():
    setup = setup_of(FILES, entries_of(SENT | {"loss-low": "", "loss-high": "", "title": "", "reference": "zz"}))
    assert (setup.loss_pct, setup.title, setup.reference) == (DEFAULT_LOSS_PCT, None, None)


def test_set_up_to_fields_and_back():
    setup = setup_of(FILES, entries_of(SENT))
    rows = {key: {p: str(v) for p, v in fields_of(device_for(setup, file=name)).items()} for key, name in FILES}
    entries = SheetEntries(rows=rows, reference="aa", title="Evening", loss=("1", "4"))
    assert setup_of(FILES, entries) == setup


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        (changed("label", ""), "pedals.fit has no label"),
        (changed("label", "hub"), "labelled 'hub'"),
        (changed("claim", "two"), "claim of pedals must be a number; got 'two'"),
        (changed("claim", "-3"), "claim_pct"),
        (changed("claim", "nan"), "claim_pct"),
        (changed("shift", "soon"), "shift by hand of pedals"),
        (changed("point", "saddle"), "point must be one of"),
        (changed("power", "solar"), "power must be one of"),
        (changed("label", "x" * 500), "label"),
        (SENT | {"loss-low": "9", "loss-high": "2"}, "loss_pct"),
        (SENT | {"loss-low": "a"}, "drivetrain loss must be a number"),
        (changed("sides", "middle"), "sides must be one of"),
        (SENT | {"plan": [{"name": "sprint"}]}, "length is missing in step 1 of the ride plan (sprint)"),
        (SENT | {"plan": [{"length": "soon"}]}, "length in step 1 of the ride plan must be like 10:00"),
        (SENT | {"plan": [{"length": "60", "target": "hard"}]}, "target in step 1"),
        (SENT | {"plan": [{"length": "60", "kind": "odd"}]}, "kind in step 1"),
        (SENT | {"plan": [{"length": "60"}] * 201}, "at most 200 steps"),
    ],
)
def test_a_mistake_is_named(sent, words):
    with pytest.raises(BadSetup, match=re.escape(words)):
        setup_of(FILES, entries_of(sent))


@pytest.mark.parametrize("sent", [None, [], "x", 7, {"rows": []}, {"rows": {"aa": "x"}}, {"rows": {"aa": {"label": {}}}}])
def test_what_no_page_of_ours_sends_is_refused_in_one_sentence(sent):
    with pytest.raises(BadSetup, match="has no label"):
        setup_of(FILES, entries_of(sent))


def test_sides_how_it_was_obtained_and_the_ride_plan_go_the_whole_way():
    rows = {"1": {ids.LABEL: "crank", ids.SIDES: "left", ids.OBTAINED: "lent by a reader"}, "2": {ids.LABEL: "hub"}}
    plan = [
        {"name": "hold 200", "length": "10:00", "target": "200 W", "kind": "steady"},
        {"name": "", "length": "", "target": "", "kind": "steady"},
        {"name": "", "length": "1,5 min", "target": "", "kind": "free"},
    ]
    setup = setup_of([("1", "a.fit"), ("2", "b.fit")], entries_of({"rows": rows, "plan": plan}))
    assert [(d.sides, d.obtained) for d in setup.devices] == [("left", "lent by a reader"), (None, None)]
    assert [(s.name, s.duration_s, s.target_w, s.kind) for s in setup.plan] == [
        ("hold 200", 600.0, 200.0, "steady"), ("step 2", 90.0, None, "free"),
    ]  # fmt: skip
    again = entries_of({"rows": rows, "plan": texts_of(setup.plan)})
    assert setup_of([("1", "a.fit"), ("2", "b.fit")], again) == setup


def test_a_sheet_without_a_table_of_steps_keeps_the_plan():
    plan = [{"name": "hold", "duration_s": 600, "kind": "steady"}]
    assert [s.name for s in setup_of(FILES, entries_of(SENT), plan=plan).plan] == ["hold"]
    assert setup_of(FILES, entries_of(SENT | {"plan": []}), plan=plan).plan == ()
