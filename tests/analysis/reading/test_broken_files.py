"""Bad input is one plain sentence that names the file; what is sound beside it survives. Files built here."""

from __future__ import annotations

import threading

import fit_bytes as w
import numpy as np
import pytest
from fitparse import records as fitparse_records

from analysis.errors import CountercheckError, UnreadableFile
from analysis.reading import read


def _refusal(data, name="thing.fit") -> str:
    with pytest.raises(UnreadableFile) as problem:
        read(data, name=name)
    text = str(problem.value)
    assert "\n" not in text and "Traceback" not in text and text.endswith(".")
    return text


@pytest.mark.parametrize(
    ("data", "name", "says"),
    [
        (b"", "a.fit", "empty"),
        (b"%PDF-1.7 ...", "a.pdf", "PDF"),
        (b"\x89PNG\r\n", "a.png", "picture"),
        (b"hello world\n", "a.fit", "no FIT header"),
        (b"hello world\nagain\n", "a.csv", "header line"),
        (b"\x0e\x10\xd9\x07", "a.fit", "no FIT header"),
        (b'{"a": 1}', "a.json", "JSON"),
        (b"time,power\n", "a.csv", "no row"),
        (b"time,power\nx,y\n", "a.csv", "no row"),
        (w.wrap(b""), "a.fit", "without samples"),
        (w.wrap(w.define(0, w.FILE_ID, [(0, "enum")]) + w.put(0, "B", 2)), "a.fit", "without samples"),
    ],
)
def test_what_is_no_recording_is_refused_by_name(data, name, says):
    text = _refusal(data, name)
    assert name in text and says in text


def test_noise_of_40_mb_is_refused():
    noise = np.random.default_rng(3).integers(0, 256, 40 * 2**20, dtype=np.uint8).tobytes()
    assert "noise.fit" in _refusal(noise, "noise.fit")
    assert "noise.bin" in _refusal(noise, "noise.bin")


def test_a_file_over_the_ceiling_is_refused_with_the_number():
    assert "64 MB" in _refusal(bytes(64 * 2**20 + 1), "huge.fit")


@pytest.mark.parametrize("name", ["../../etc/thing.fit", "C:\\rides\\thing.fit", "folder/thing.fit"])
def test_a_name_with_folders_is_cut_to_the_file(name):
    assert _refusal(b"", name).startswith("thing.fit ")
    assert read(w.ride([100, 120, 130]), name=name).name == "thing.fit"


@pytest.mark.parametrize("name", ["", "..", "/", "\n"])
def test_a_name_that_is_none_still_gives_a_sentence(name):
    assert "unnamed file" in _refusal(b"", name)


def test_a_wrong_checksum_is_a_warning_and_every_sample_stays():
    body = w.ride([100, 200, 300])
    recording = read(body[:-2] + b"\x12\x34", name="a.fit")
    assert list(recording.samples["power_w"]) == [100, 200, 300]
    assert any("checksum does not match" in s for s in recording.warnings)


@pytest.mark.parametrize("cut", [1, 2, 3, 5, 40])
def test_a_cut_file_keeps_the_whole_messages_before_the_cut(cut):
    powers = list(range(100, 150))
    recording = read(w.ride(powers)[:-cut], name="a.fit")
    kept = 50 - max(0, -(-(cut - 2) // 7))
    assert list(recording.samples["power_w"]) == powers[:kept]
    assert any("ends" in s and str(kept) in s for s in recording.warnings)


@pytest.mark.parametrize("declared", [0, 0xFFFFFFFF, 12 + 7 * 40])
def test_a_recorder_that_crashed_before_writing_its_length(declared):
    powers = list(range(100, 200))
    recording = read(w.wrap(w.ride(powers)[14:-2], declared=declared)[:-2], name="a.fit")
    assert list(recording.samples["power_w"]) == powers
    assert any("never closed" in s for s in recording.warnings)


def test_padding_after_the_end_is_no_part_of_the_ride():
    recording = read(w.ride([100, 110, 120]) + bytes(4096), name="a.fit")
    assert len(recording.samples) == 3 and recording.warnings == ()


def test_missing_power_is_missing_never_a_sprint():
    recording = read(w.ride([100, 0xFFFF, 0]), name="a.fit")
    power = recording.samples["power_w"]
    assert np.isnan(power[1]) and power[2] == 0 and power.max() == 100


def _developer_ride(described: bool) -> bytes:
    body = b""
    if described:
        body += w.define(1, w.DEVELOPER_DATA_ID, [(3, "uint8")]) + w.put(1, "B", 0)
        body += w.define(2, w.FIELD_DESCRIPTION, [(0, "uint8"), (1, "uint8"), (2, "uint8"), (3, "string", 8)])
        body += w.put(2, "BBB8s", 0, 0, 0x84, b"Power\0\0\0")
    body += w.define(0, w.RECORD, [(253, "uint32"), (7, "uint16")], developer=[(0, 2, 0)])
    return w.wrap(body + b"".join(w.put(0, "IHH", 1_000_000_000 + i, 100 + i, 200 + i) for i in range(5)))


def test_a_developer_field_of_the_same_name_does_not_replace_the_native_one():
    recording = read(_developer_ride(described=True), name="a.fit")
    assert list(recording.samples["power_w"]) == [100, 101, 102, 103, 104]


def test_developer_descriptions_do_not_leak_from_file_to_file_or_thread_to_thread():
    def attempt(data, seen):
        try:
            seen.append(len(read(data, name="a.fit").facts.get("developer_fields", [])))
        except CountercheckError:
            seen.append(0)

    described, bare = [], []
    threads = [threading.Thread(target=attempt, args=(_developer_ride(i % 2 == 0), (described, bare)[i % 2])) for i in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert described == [1] * 6 and bare == [0] * 6
    assert fitparse_records.DEV_TYPES == {}


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (w.wrap(w.define(0, w.RECORD, [(253, "uint32")]) + bytes(5 * 400_001)), "long.fit"),
        (b"time,power\n" + b"1,2\n" * 400_001, "long.csv"),
    ],
)
def test_more_samples_than_any_ride_are_refused(data, name):
    assert "400,000" in _refusal(data, name)


@pytest.mark.parametrize("share", [0.6, 0.9])
def test_what_a_cut_cost_is_said_in_seconds_and_place(share):
    whole = w.ride([200] * 1000)
    recording = read(whole[: int(len(whole) * share)], name="a.fit")
    lost_s = 1000 - len(recording.samples)
    said = next(s for s in recording.warnings if "are lost" in s)
    reckoned = int(said.split("about ")[1].split(" s after")[0])
    assert reckoned == pytest.approx(lost_s, abs=5)
    end = len(recording.samples) - 1
    assert f"after 0:{end // 60:02d}:{end % 60:02d}" in said


def test_structure_lost_late_keeps_what_came_before():
    whole = w.ride([200] * 1000)
    at = 14 + 12 + 7 * 800  # header, definition, 800 messages
    recording = read(whole[:at] + b"\x0f" + whole[at + 1 :], name="a.fit")  # a header that nothing defines
    assert len(recording.samples) == 799
    assert any("structure is lost" in s and "are lost" in s for s in recording.warnings)


def test_structure_lost_early_is_refused():
    whole = w.ride([200] * 1000)
    at = 14 + 12 + 7 * 300
    assert "structure is lost" in _refusal(whole[:at] + b"\x0f" + whole[at + 1 :])
