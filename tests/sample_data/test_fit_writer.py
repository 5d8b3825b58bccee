"""The FIT writer against fitparse and a published check value."""

import io

import fitparse
import pytest

from sample_data.fit_writer import FitWriter, activity_file, crc16_arc

START_S = 1_700_000_000
UNIT = {"manufacturer": 255, "product": 1, "serial_number": 1}


def sample(second, power_w):
    return {"timestamp": START_S + second, "power_w": power_w, "cadence_rpm": 80.0, "heart_rate_bpm": 120.0}


def decoded(data):
    return [(m.name, m.get_values()) for m in fitparse.FitFile(io.BytesIO(data), check_crc=True).get_messages()]


def test_checksum_of_the_catalogue():
    """CRC-16/ARC, check value of the catalogue of parametrised CRC algorithms (reveng.sourceforge.io), from memory."""
    assert crc16_arc(b"123456789") == 0xBB3D


def test_missing_values_are_missing_and_zero_is_zero():
    data = activity_file([sample(0, 0.0), sample(1, float("nan")), sample(2, 65534.0)], unit=UNIT, sensors=[])
    assert [v["power"] for n, v in decoded(data) if n == "record"] == [0, None, 65534]


def test_a_changed_layout_gets_a_new_definition():
    out = FitWriter()
    out.write("file_id", type=4, **UNIT)
    out.write("record", timestamp=START_S, power_w=100)
    out.write("record", timestamp=START_S + 1, heart_rate_bpm=99)
    out.write("record", timestamp=START_S + 2, power_w=101)
    values = [v for n, v in decoded(out.to_bytes()) if n == "record"]
    assert [(v.get("power"), v.get("heart_rate")) for v in values] == [(100, None), (None, 99), (101, None)]


def test_laps_tile_the_ride_and_pauses_leave_the_timer():
    records = [sample(t, 200.0) for t in range(0, 61)] + [sample(t, 100.0) for t in range(91, 121)]
    pause = (START_S + 60, START_S + 91)
    data = activity_file(records, unit=UNIT, sensors=[], pauses=[pause], laps=[START_S + 30])
    laps = [v for n, v in decoded(data) if n == "lap"]
    (session,) = [v for n, v in decoded(data) if n == "session"]
    assert [lap["total_elapsed_time"] for lap in laps] == [30, 90]
    assert sum(lap["total_timer_time"] for lap in laps) == session["total_timer_time"] == 120 - 31
    assert session["avg_power"] == round((61 * 200 + 30 * 100) / 91)


def test_a_field_outside_the_table_is_refused():
    with pytest.raises(KeyError, match="position_lat"):
        FitWriter().write("record", timestamp=START_S, position_lat=1)
