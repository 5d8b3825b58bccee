"""CSV in the forms a rider may bring. Referee: the same ride written in each of them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.errors import UnreadableFile
from analysis.reading import read

N = 120
START = 1_700_000_000
POWER = 150 + np.random.default_rng(5).integers(0, 100, N)
CADENCE = 85 + np.arange(N) % 7
SPEED_KMH = np.round(30 + np.sin(np.arange(N) / 9), 2)


def _lines(stamps, delimiter=",", decimal=".", header="time,power,cadence,speed [km/h]", end="\n"):
    def number(value):
        return str(value).replace(".", decimal)

    rows = [header.replace(",", delimiter)]
    for t, p, c, s in zip(stamps, POWER, CADENCE, SPEED_KMH, strict=True):
        rows.append(delimiter.join([number(t), number(p), number(c), number(s)]))
    return end.join(rows) + end


def _iso(zone):
    return [pd.Timestamp(START + i, unit="s").isoformat() + zone for i in range(N)]


def _check(recording, start=START, absolute=True):
    assert recording.format == "csv" and recording.absolute_clock is absolute
    assert recording.start_s == start and recording.interval_s == 1.0
    assert list(recording.samples["power_w"]) == list(POWER)
    assert list(recording.samples["cadence_rpm"]) == list(CADENCE)
    assert np.allclose(recording.samples["speed_mps"], SPEED_KMH / 3.6)
    assert recording.channels == ("power_w", "cadence_rpm", "speed_mps")


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_each_delimiter_and_line_end(delimiter, end):
    _check(read(_lines(range(START, START + N), delimiter, end=end).encode(), name="a.csv"))


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_decimal_comma(delimiter):
    _check(read(_lines(range(START, START + N), delimiter, decimal=",").encode(), name="a.csv"))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_each_text_encoding(encoding):
    text = _lines(range(START, START + N), header="time,power,cadence,speed [km/h]")
    text = text.replace("time", "Höhenmeter\ntime", 1)
    _check(read(text.encode(encoding), name="a.csv"))


@pytest.mark.parametrize("zone", ["Z", "+00:00", ".000Z"])
def test_iso_stamps_with_a_zone(zone):
    recording = read(_lines(_iso(zone)).encode(), name="a.csv")
    _check(recording)
    assert recording.warnings == ()


def test_iso_stamps_without_a_zone_are_taken_as_utc_and_said_so():
    recording = read(_lines([s.replace("T", " ") for s in _iso("")]).encode(), name="a.csv")
    _check(recording)
    assert any("time zone" in w for w in recording.warnings)


def test_a_zone_shifts_the_clock():
    assert read(_lines(_iso("+02:00")).encode(), name="a.csv").start_s == START - 7200


@pytest.mark.parametrize("stamps", [range(N), [f"{i // 60}:{i % 60:02d}" for i in range(N)],
                                    [f"0:{i // 60:02d}:{i % 60:02d}" for i in range(N)]])  # fmt: skip
def test_elapsed_time_has_no_date(stamps):
    recording = read(_lines(stamps, header="secs,Power (W),Cadence (rpm),speed_kmh").encode(), name="a.csv")
    _check(recording, start=0, absolute=False)


def test_unix_milliseconds():
    _check(read(_lines([(START + i) * 1000 for i in range(N)]).encode(), name="a.csv"))


def test_units_in_the_header_are_obeyed():
    text = "timestamp;Power [kW];HR (bpm);speed m/s;temp [F];Altitude (ft);left balance (%)\n" + "".join(
        f"{START + i};0.25;140;10;50;100;48\n" for i in range(5)
    )
    first = read(text.encode(), name="a.csv").samples.iloc[0]
    assert (first.power_w, first.heart_rate_bpm, first.speed_mps) == (250, 140, 10)
    assert (first.temperature_degc, first.altitude_m, first.left_share_frac) == (
        pytest.approx(10), pytest.approx(30.48), pytest.approx(0.48),
    )  # fmt: skip


def test_speed_without_a_unit_is_left_out_rather_than_guessed():
    recording = read(_lines(range(START, START + N), header="time,power,cadence,speed").encode(), name="a.csv")
    assert "speed_mps" not in recording.samples
    assert any("'speed'" in w and "km/h" in w for w in recording.warnings)


def test_rows_and_cells_that_do_not_parse_are_counted_and_the_rest_stays():
    lines = _lines(range(START, START + N)).splitlines()
    lines[5] = "garbage"
    lines[9] = lines[9].replace(f",{CADENCE[8]},", ",oops,")
    lines[20] += ",1,2,3,4"
    lines[30] = lines[30].rsplit(",", 1)[0] + ","
    recording = read("\n".join(lines).encode(), name="a.csv")
    assert len(recording.samples) == N - 1 or len(recording.samples) == N - 2
    assert any("rows left out" in w for w in recording.warnings)
    assert any("1 cells are no numbers" in w for w in recording.warnings)
    assert np.isnan(recording.samples.set_index("time_s").loc[START + 29, "speed_mps"])


def test_a_position_column_is_not_read():
    text = "time,power,latitude,longitude\n" + "".join(f"{START + i},200,47.12345,8.54321\n" for i in range(5))
    recording = read(text.encode(), name="a.csv")
    assert list(recording.samples.columns) == ["time_s", "power_w"]


def test_a_frame_written_by_pandas_comes_back_equal():
    recording = read(_lines(range(START, START + N)).encode(), name="a.csv")
    again = read(recording.samples.to_csv(index=False).encode(), name="b.csv")
    pd.testing.assert_frame_equal(recording.samples, again.samples)


def test_words_nobody_knows_are_refused_with_an_example():
    with pytest.raises(UnreadableFile, match="time,power"):
        read(b"alpha,beta\n1,2\n", name="a.csv")


def test_a_date_beside_a_time_of_day_makes_a_stamp():
    days = [pd.Timestamp(START + i, unit="s") for i in range(5)]
    for day, header in ((lambda d: d.strftime("%Y-%m-%d"), "date"), (lambda d: d.strftime("%d.%m.%Y"), "Date")):
        text = f"{header};time;power\n" + "".join(f"{day(d)};{d.strftime('%H:%M:%S')};200\n" for d in days)
        recording = read(text.encode(), name="a.csv")
        assert recording.absolute_clock and recording.start_s == START and len(recording.samples) == 5


def test_day_month_year_with_dots_is_read_and_with_slashes_refused():
    text = "time;power\n" + "".join(f"3.11.2023 10:00:0{i};200\n" for i in range(5))
    assert read(text.encode(), name="a.csv").start_s == pd.Timestamp("2023-11-03T10:00:00Z").timestamp()
    with pytest.raises(UnreadableFile, match="ISO 8601"):
        read(text.replace("3.11.2023", "11/03/2023").encode(), name="a.csv")


def test_not_recorded_written_as_a_number_is_no_sprint():
    text = "time,power,heart_rate\n" + "".join(
        f"{START + i},{65535 if i == 3 else 200 + i},{255 if i < 2 else 140}\n" for i in range(9)
    )
    recording = read(text.encode(), name="a.csv")
    assert recording.samples.power_w.max() == 208 and recording.samples.power_w.isna().sum() == 1
    assert recording.samples.heart_rate_bpm.isna().sum() == 2
    assert sum("cannot be readings" in s for s in recording.warnings) == 2
