"""Facts from FIT files. Referee: the files as built here; for the real one, values seen in the file by hand (fit-notes)."""

from __future__ import annotations

import json

import fit_bytes as w
import numpy as np
import pytest

from analysis.errors import UnreadableFile
from analysis.reading import fit_columns, fit_decode, read

T0 = 1_000_000_000
TIMER, START, STOP, STOP_ALL = 0, 0, 1, 4


def _events(*events: tuple[int, int, int]) -> bytes:
    """(seconds after T0, event, event type)"""
    body = w.define(1, w.EVENT, [(253, "uint32"), (0, "enum"), (1, "enum")])
    return body + b"".join(w.put(1, "IBB", T0 + at, event, kind) for at, event, kind in events)


def _ride(extra: bytes, stamps=range(60)) -> bytes:
    body = extra + w.define(0, w.RECORD, [(253, "uint32"), (7, "uint16")])
    return w.wrap(body + b"".join(w.put(0, "IH", T0 + t, 200 + t % 9) for t in stamps))


def _facts(extra: bytes) -> dict:
    return read(_ride(extra), name="a.fit").facts


@pytest.mark.parametrize(
    ("events", "wanted"),
    [
        ([(0, TIMER, START), (20, TIMER, STOP), (30, TIMER, START), (59, TIMER, STOP_ALL)], [[20, 30]]),
        ([(20, TIMER, STOP), (21, TIMER, STOP_ALL), (30, TIMER, START), (31, TIMER, START)], [[20, 30]]),
        ([(-9, TIMER, STOP), (5, TIMER, START)], [[0, 5]]),
        ([(-9, TIMER, STOP), (-5, TIMER, START)], None),
        ([(20, 7, STOP), (30, 7, START)], None),
        ([(40, TIMER, START), (30, TIMER, STOP)], [[30, 40]]),
    ],
)
def test_timer_stops_are_pairs_in_order(events, wanted):
    assert _facts(_events(*events)).get("timer_stops") == wanted


def test_a_pause_and_a_drop_out_are_told_apart_by_the_events():
    stamps = [t for t in range(100) if not (20 < t < 30 or 60 < t < 70)]
    data = _ride(_events((20, TIMER, STOP), (30, TIMER, START)), stamps)
    codes = {h["code"]: h["first_s"] for h in read(data, name="a.fit").facts["health"]}
    assert codes["pause"] == 20 and codes["dropout"] == 60


def _sensor(index, kind, serial, firmware, volts=None, status=0xFF, source=1) -> bytes:
    fields = [(253, "uint32"), (0, "uint8"), (1, "uint8"), (3, "uint32z"), (5, "uint16"), (10, "uint16"), (11, "uint8"),
              (25, "enum")]  # fmt: skip
    raw = 0xFFFF if volts is None else round(volts * 256)
    return w.define(2, w.DEVICE_INFO, fields) + w.put(2, "IBBIHHBB", T0, index, kind, serial, firmware, raw, status, source)


def test_one_sensor_under_two_indices_is_one_entry_and_two_under_one_are_two():
    sensors = _facts(_sensor(2, 11, 70001, 320, 3.0, 3) + _sensor(1, 11, 70001, 320, 2.5, 4) + _sensor(2, 120, 80002, 100))[
        "sensors"
    ]
    assert [s["type"] for s in sensors] == ["bike_power", "heart_rate"]
    meter = sensors[0]
    assert (meter["battery_first_v"], meter["battery_last_v"], meter["battery_status"]) == (3.0, 2.5, "low")
    assert meter["firmware"] == 3.2 and meter["radio"] == "antplus" and len(meter["serial_hash"]) == 8
    assert meter["serial_hash"] != sensors[1]["serial_hash"]


def test_the_same_sensor_has_the_same_hash_in_two_files():
    one, two = (_facts(_sensor(i, 11, 70001, 320))["sensors"][0] for i in (1, 5))
    assert one["serial_hash"] == two["serial_hash"]


def test_parts_of_the_recorder_itself_are_no_sensors():
    assert "sensors" not in _facts(_sensor(3, 4, 70001, 100, source=5) + _sensor(0, 1, 70002, 620))


def test_a_smart_trainer_alone_suggests_the_measuring_point_and_the_name_wins():
    data = _ride(_sensor(1, 17, 70001, 100))
    assert read(data, name="evening.fit").facts["point_guess"] == "trainer"
    assert read(data, name="hub.fit").facts["point_guess"] == "hub"
    assert read(_ride(_sensor(1, 17, 1, 1) + _sensor(2, 11, 2, 1)), name="evening.fit").facts["point_guess"] is None


def test_planned_steps_in_watts_come_with_their_length():
    body = w.define(3, 27, [(1, "enum"), (2, "uint32"), (3, "enum"), (5, "uint32"), (6, "uint32")])
    body += w.put(3, "BIBII", 0, 600_000, 4, 1190, 1210) + w.put(3, "BIBII", 0, 30_000, 4, 90, 110)
    assert _facts(body)["workout"] == [{"duration_s": 600.0, "low_w": 190, "high_w": 210}, {"duration_s": 30.0}]


def test_laps_and_summary_of_a_real_ride(rides):
    facts = read((rides / "ride-02.fit").read_bytes(), name="ride-02.fit").facts
    # fit-notes section 2, 9: balance raw 37676 = flag + 49.08 % on the right.
    assert facts["ride"]["left_share_frac"] == pytest.approx(0.5092)
    assert facts["ride"]["sport"] == "cycling" and len(facts["laps"]) == 2
    assert facts["laps"][0]["trigger"] == "manual"


@pytest.mark.parametrize("name", ["ride-01.fit", "ride-06-gears.fit", "dev-power.fit", "chained.fit", "broken-cut.fit"])
def test_facts_are_json_and_nothing_else(name, rides):
    facts = read((rides / name).read_bytes(), name=name).facts
    assert json.loads(json.dumps(facts, allow_nan=False)) == facts


def test_when_the_columnar_decoder_fails_fitparse_stands_in(monkeypatch):
    data = _ride(_sensor(1, 11, 70001, 320))
    wanted = read(data, name="a.fit")

    def broken(*_args, **_kwargs):
        raise ValueError("made to fail")

    monkeypatch.setattr(fit_columns, "decode_part", broken)
    again = read(data, name="a.fit")
    np.testing.assert_array_equal(again.samples, wanted.samples)
    assert again.facts == wanted.facts and again.warnings == wanted.warnings
    monkeypatch.setattr(fit_decode, "MAX_SLOW_BYTES", 100)  # beyond it the stand-in would take too long
    with pytest.raises(UnreadableFile, match="structure"):
        read(data, name="a.fit")
