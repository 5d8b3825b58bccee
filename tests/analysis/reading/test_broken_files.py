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

    described, bare, before = [], [], dict(fitparse_records.DEV_TYPES)
    threads = [threading.Thread(target=attempt, args=(_developer_ride(i % 2 == 0), (described, bare)[i % 2])) for i in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert described == [1] * 6 and bare == [0] * 6
    assert before == fitparse_records.DEV_TYPES


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


def test_structure_lost_late_for_good_keeps_what_came_before():
    whole = w.ride([200] * 1000)
    at = 14 + 12 + 7 * 800  # header, definition, 800 messages
    recording = read(whole[:at] + b"\x0f" * (len(whole) - at), name="a.fit")  # a header that nothing defines
    assert len(recording.samples) == 799
    assert any("structure is lost" in s and "are lost" in s for s in recording.warnings)


def test_structure_lost_early_for_good_is_refused():
    whole = w.ride([200] * 1000)
    at = 14 + 12 + 7 * 300
    assert "structure is lost" in _refusal(whole[:at] + b"\x0f" * (len(whole) - at))


def _long_ride(n=1000) -> bytes:
    """Two messages in turns, fields of every kind, so that no byte column but the header's repeats by chance alone."""
    rng = np.random.default_rng(8)
    body = w.define(0, w.RECORD, [(253, "uint32"), (7, "uint16"), (4, "uint8"), (2, "uint16"), (5, "uint32")])
    body += w.define(1, 78, [(0, "uint16", 6)])
    for i in range(n):
        body += w.put(0, "IHBHI", 1_000_000_000 + i, 200 + i % 50, 90, 2500, i * 900)
        body += w.put(1, "3H", *(int(v) for v in rng.integers(0, 2000, 3))) if i % 3 else b""
    return w.wrap(body)


@pytest.mark.parametrize("at_share", [0.2, 0.5, 0.8])
@pytest.mark.parametrize("n_lost", [1, 37, 512])
def test_a_lost_block_costs_its_own_seconds_and_no_more(at_share, n_lost):
    whole = _long_ride()
    at = int(len(whole) * at_share)
    recording = read(whole[:at] + whole[at + n_lost :], name="a.fit")
    seconds = recording.samples.time_s - 631065600 - 1_000_000_000
    power = dict(zip(seconds.astype(int), recording.samples.power_w, strict=True))
    assert all(200 + s % 50 == p for s, p in power.items())  # nothing misread came through
    assert len(power) > 1000 - n_lost / 10 - 60  # what confirms a run on either side may go with it
    assert any("broken from byte" in s and "are lost" in s for s in recording.warnings)


def test_a_file_damaged_throughout_is_refused():
    whole = _long_ride()
    at = range(300, len(whole), 300)
    with pytest.raises(UnreadableFile, match="structure is lost"):
        read(b"".join(whole[i - 300 : i - 7] for i in at), name="a.fit")


@pytest.mark.parametrize("seed", range(12))
def test_a_block_lost_from_a_real_ride_brings_no_false_sample(seed, rides):
    """Property: what is left is in the whole file as well, second by second; the end is not lost with the block."""
    rng = np.random.default_rng(seed)
    name = ["ride-02.fit", "ride-04-virtual.fit", "ride-03-indoor.fit"][seed % 3]
    data = (rides / name).read_bytes()
    whole = read(data, name=name).samples.set_index("time_s").power_w
    at, n_lost = int(rng.uniform(0.1, 0.9) * len(data)), int(rng.choice([1, 16, 512, 2048]))
    left = read(data[:at] + data[at + n_lost :], name=name).samples.set_index("time_s").power_w
    seconds_per_byte = len(whole) / len(data)
    assert len(left) > len(whole) - n_lost * seconds_per_byte - 120
    assert (~left.index.isin(whole.index)).sum() <= 2
    shared = left.index.intersection(whole.index)
    # the sample that the cut goes through may keep its stamp and lose its rest
    assert (left[shared].fillna(-1) != whole[shared].fillna(-1)).sum() <= 1


def test_a_clock_that_is_set_on_the_way_is_no_damage():
    stamps = [*range(5000, 5020), *range(1_000_000_000, 1_000_000_300)]
    recording = read(w.ride([200 + i % 40 for i in range(320)], stamps=stamps), name="a.fit")
    assert len(recording.samples) == 300 and recording.absolute_clock
    assert not any("structure" in s for s in recording.warnings)
    assert any("7 days" in s for s in recording.warnings)
