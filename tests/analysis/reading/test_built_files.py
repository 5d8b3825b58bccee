"""What the real recordings lack, written by an independent writer (fit-tool) or byte by byte, and read back.

Referee: the values handed to the writer.
"""

from __future__ import annotations

import fit_bytes as w
import numpy as np
import pytest
from fit_tool.fit_file_builder import FitFileBuilder
from fit_tool.profile.messages.bike_profile_message import BikeProfileMessage
from fit_tool.profile.messages.event_message import EventMessage
from fit_tool.profile.messages.record_message import RecordMessage
from fit_tool.profile.profile_type import Event, EventType

from analysis.errors import UnusableRecording
from analysis.reading import read
from analysis.reading.choosing import with_developer_power
from analysis.reading.fit_decode import decode, decode_slowly

START = 1_700_000_000
N = 30


def _built(*extra, **per_sample) -> bytes:
    builder = FitFileBuilder(auto_define=True)
    for message in extra:
        builder.add(message)
    for i in range(N):
        record = RecordMessage()
        record.timestamp = (START + i) * 1000
        record.power = 200 + i
        for name, value in per_sample.items():
            setattr(record, name, value)
        builder.add(record)
    return builder.build().to_bytes()


def test_power_phase_and_torque_fields_come_back_in_their_units():
    data = _built(
        left_power_phase=[10.0, 200.0], right_power_phase=[20.0, 210.0], left_power_phase_peak=[60.0, 120.0],
        right_power_phase_peak=[70.0, 130.0], left_pco=4, right_pco=-3, left_torque_effectiveness=80.5,
        right_torque_effectiveness=79.0, left_pedal_smoothness=20.5, right_pedal_smoothness=21.0,
    )  # fmt: skip
    samples = read(data, name="a.fit").samples
    first = samples.iloc[0]
    step_deg = 1 / 0.7111111  # resolution of the field: 256 steps to a turn
    for name, wanted in {
        "left_phase_start_deg": 10, "left_phase_end_deg": 200, "right_phase_start_deg": 20, "right_phase_end_deg": 210,
        "left_peak_phase_start_deg": 60, "left_peak_phase_end_deg": 120, "right_peak_phase_start_deg": 70,
        "right_peak_phase_end_deg": 130,
    }.items():  # fmt: skip
        assert first[name] == pytest.approx(wanted, abs=step_deg)
    assert (first.left_platform_offset_mm, first.right_platform_offset_mm) == (4, -3)
    assert (first.left_torque_effectiveness_frac, first.right_torque_effectiveness_frac) == (
        pytest.approx(0.805), pytest.approx(0.79),
    )  # fmt: skip
    assert (first.left_smoothness_frac, first.right_smoothness_frac) == (
        pytest.approx(0.205), pytest.approx(0.21),
    )  # fmt: skip
    assert list(samples.power_w) == list(range(200, 200 + N)) and samples.time_s[0] == START


def test_a_calibration_is_a_fact_with_its_time_and_value():
    event = EventMessage()
    event.timestamp = (START + 7) * 1000
    event.event, event.event_type = Event.CALIBRATION, EventType.MARKER
    event.data = 517
    facts = read(_built(event), name="a.fit").facts
    assert facts["calibrations"] == [{"at_s": 7.0, "value": 517}]


def test_scale_factor_and_crank_length_are_facts():
    bike = BikeProfileMessage()
    bike.power_cal_factor, bike.crank_length = 102.5, 172.5
    assert read(_built(bike), name="a.fit").facts["settings"] == {"power_scale_pct": 102.5, "crank_length_mm": 172.5}


def test_power_with_a_wrong_checksum_is_kept_with_a_warning():
    data = _built()
    recording = read(data[:-2] + bytes([data[-2] ^ 1, data[-1]]), name="a.fit")
    assert list(recording.samples.power_w) == list(range(200, 200 + N))
    assert len(recording.warnings) == 1 and "checksum" in recording.warnings[0]


def test_power_under_compressed_stamps_rolls_over_every_32_s():
    body = w.define(0, w.EVENT, [(253, "uint32"), (0, "enum")]) + w.define(1, w.RECORD, [(7, "uint16")])
    body += w.put(0, "IB", 1_000_000_010, 0)
    stamps = 1_000_000_010 + np.cumsum(np.tile([1, 1, 5, 31], 25))
    body += b"".join(w.put_compressed(1, int(t) & 31, "H", 100 + i) for i, t in enumerate(stamps))
    recording = read(w.wrap(body), name="a.fit")
    assert list(recording.samples.time_s) == list(stamps + 631065600)
    assert list(recording.samples.power_w) == list(range(100, 200))


def test_compressed_stamps_count_on_from_the_last_full_stamp_of_any_message():
    body = w.define(0, w.EVENT, [(253, "uint32"), (0, "enum")]) + w.define(1, w.RECORD, [(7, "uint16")])
    for start in (1_000_000_000, 1_000_000_400):
        body += w.put(0, "IB", start, 0) + b"".join(w.put_compressed(1, start + i & 31, "H", i) for i in (1, 2, 3))
    times = read(w.wrap(body), name="a.fit").samples.time_s - 631065600
    assert list(times) == [1_000_000_001, 1_000_000_002, 1_000_000_003, 1_000_000_401, 1_000_000_402, 1_000_000_403]


@pytest.mark.parametrize("big", [False, True])
@pytest.mark.parametrize("header", [12, 14])
def test_both_byte_orders_and_header_sizes(big, header):
    body = w.define(3, w.RECORD, [(253, "uint32"), (7, "uint16"), (13, "sint8")], big=big)
    body += b"".join(w.put(3, "IHb", START - 631065600 + i, 300 - i, -5, big=big) for i in range(5))
    recording = read(w.wrap(body, header=header), name="a.fit")
    assert list(recording.samples.power_w) == [300, 299, 298, 297, 296]
    assert list(recording.samples.temperature_degc) == [-5] * 5 and recording.start_s == START
    assert recording.warnings == ()


def test_a_redefinition_in_mid_file_leaves_the_missing_field_missing():
    body = w.define(0, w.RECORD, [(253, "uint32"), (7, "uint16"), (4, "uint8")])
    body += b"".join(w.put(0, "IHB", 10**9 + i, 200, 90) for i in range(3))
    body += w.define(0, w.RECORD, [(253, "uint32"), (4, "uint8")])
    body += b"".join(w.put(0, "IB", 10**9 + i, 91) for i in range(3, 6))
    samples = read(w.wrap(body), name="a.fit").samples
    assert list(samples.cadence_rpm) == [90] * 3 + [91] * 3
    assert list(samples.power_w[:3]) == [200] * 3 and samples.power_w[3:].isna().all()


@pytest.mark.parametrize("raw", [127, 128])
def test_balance_of_raw_127_and_128_stays_a_number(raw):
    body = w.define(0, w.RECORD, [(253, "uint32"), (7, "uint16"), (30, "uint8")])
    body += b"".join(w.put(0, "IHB", 10**9 + i, 200, raw if i == 1 else 0x80 | 52) for i in range(4))
    samples = read(w.wrap(body), name="a.fit").samples
    assert list(samples.left_share_frac.drop(1)) == [0.48] * 3
    # 127 has no flag and is above 100 %: no reading. 128 says: right side 0 %.
    assert np.isnan(samples.left_share_frac[1]) if raw == 127 else samples.left_share_frac[1] == 1.0


def test_alternating_messages_are_told_apart():
    body = w.define(0, w.RECORD, [(253, "uint32"), (7, "uint16")]) + w.define(1, 78, [(0, "uint16", 10)])
    body += b"".join(
        w.put(0, "IH", 10**9 + i, 200 + i % 7) + w.put(1, "5H", 0, 1, 0, 1, 0) * (1 + (i % 13 == 0)) for i in range(200)
    )
    recording = read(w.wrap(body), name="a.fit")
    assert list(recording.samples.power_w) == [200 + i % 7 for i in range(200)]


def test_power_written_by_an_application_stands_beside_the_files_own_and_may_be_chosen():
    body = w.define(1, w.DEVELOPER_DATA_ID, [(3, "uint8")]) + w.put(1, "B", 0)
    body += w.define(2, w.FIELD_DESCRIPTION, [(0, "uint8"), (1, "uint8"), (2, "uint8"), (3, "string", 8), (15, "uint8")])
    body += w.put(2, "BBB8sB", 0, 0, 0x84, b"Other\0\0\0", 7)
    body += w.define(0, w.RECORD, [(253, "uint32"), (7, "uint16")], developer=[(0, 2, 0), (9, 1, 0)])
    body += b"".join(w.put(0, "IHHB", 10**9 + i, 100 + i, 200 + i, 7) for i in range(5))
    recording = read(w.wrap(body), name="a.fit")
    assert list(recording.samples.power_w) == [100, 101, 102, 103, 104]
    assert list(recording.samples.developer_power_w) == [200, 201, 202, 203, 204]
    assert any("'Other'" in s for s in recording.warnings)
    chosen = with_developer_power(recording)
    assert list(chosen.samples.power_w) == [200, 201, 202, 203, 204] and chosen.channels == ("power_w",)
    with pytest.raises(UnusableRecording, match="no power written by an application"):
        with_developer_power(chosen)


def test_a_rolling_total_is_counted_on():
    body = w.define(0, w.RECORD, [(253, "uint32"), (28, "uint16")])
    totals = 65000 + 300 * np.arange(10)
    body += b"".join(w.put(0, "IH", 10**9 + i, int(t) % 65536) for i, t in enumerate(totals))
    assert list(read(w.wrap(body), name="a.fit").samples.accumulated_work_j) == list(totals)


@pytest.mark.parametrize("build", [_built, lambda: w.ride([100, 200, 300])])
def test_both_decoders_agree_on_built_files(build):
    data = build()
    fast, slow = decode(data, name="a.fit"), decode_slowly(data, name="a.fit")
    assert set(fast.records) >= set(slow.records)
    for name, column in slow.records.items():
        np.testing.assert_array_equal(fast.records[name], column)
