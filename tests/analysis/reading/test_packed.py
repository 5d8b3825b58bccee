"""A kept recording. Referees: bytes kept by the program that wrote each format; the recording as it was read."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import fit_bytes as w
import numpy as np
import pandas as pd
import pytest
from real_rides import expected_files

from analysis.errors import UnreadableFile
from analysis.reading import read
from analysis.reading.packed import FORMAT, pack, unpack
from analysis.reading.recording import Recording

KEPT = Path(__file__).parent / "kept"
FILES = [n for n, f in expected_files().items() if f["expected_outcome"] != "refused"]

# What kept/format-1.zip holds, written down apart from it. That file must never be written again.
FIRST = Recording(
    name="left pedal.fit",
    sha256="5b" * 32,
    format="fit",
    samples=pd.DataFrame({"time_s": [1.7e9, 1.7e9 + 1, 1.7e9 + 2.5], "power_w": [200.0, float("nan"), 0.1]}),
    channels=("power_w",),
    interval_s=1.0,
    absolute_clock=True,
    facts={"sensors": [{"type": "bike_power", "firmware": 3.1, "serial_hash": "0123abcd"}], "laps": [],
           "label_guess": "left pedal", "point_guess": "pedal"},
    warnings=("A sentence with a sign: ±.",),
)  # fmt: skip


def same(one: Recording, other: Recording) -> None:
    pd.testing.assert_frame_equal(one.samples, other.samples, check_exact=True)
    assert vars(one) | {"samples": None} == vars(other) | {"samples": None}


def test_what_the_first_format_kept_opens_today():
    same(unpack((KEPT / "format-1.zip").read_bytes(), name="left pedal.fit"), FIRST)


@pytest.mark.skipif(FORMAT != 1, reason="a later format is written now; the first one is only opened")
def test_the_same_recording_gives_the_same_bytes_on_every_machine():
    assert pack(FIRST) == (KEPT / "format-1.zip").read_bytes()


@pytest.mark.parametrize("name", FILES)
def test_a_real_recording_comes_back_equal_and_its_name_is_no_part_of_it(name, rides):
    data = (rides / name).read_bytes()
    recording = read(data, name="hub 2024.fit")
    packed = pack(recording)
    same(unpack(packed, name="hub 2024.fit"), recording)
    other = read(data, name="left_pedals.fit")
    assert pack(other) == packed
    same(unpack(packed, name="left_pedals.fit"), other)
    assert b"hub 2024" not in packed


def test_the_name_is_no_part_of_other_formats_either():
    text = "time,power\n" + "".join(f"{1_700_000_000 + t},{200 + t % 9}\n" for t in range(60))
    assert pack(read(text.encode(), name="a.csv")) == pack(read(text.encode(), name="hub.csv"))


def test_what_a_newer_program_kept_says_so():
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("recording.json", json.dumps({"kept_format": FORMAT + 1}))
    with pytest.raises(UnreadableFile, match=r"hub\.fit.*newer countercheck"):
        unpack(stream.getvalue(), name="hub.fit")


def without(packed: bytes, lost: str) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(packed)) as old, zipfile.ZipFile(stream, "w") as new:
        for name in old.namelist():
            if name != lost:
                new.writestr(name, old.read(name))
    return stream.getvalue()


HARMS = (
    lambda b: b"",
    lambda b: b[:-40],
    lambda b: w.ride([200] * 9),
    lambda b: without(b, "recording.json"),
    lambda b: without(b, "columns/power_w.npy"),
    lambda b: b.replace(b"NUMPY", b"NOMPY"),
)


@pytest.mark.parametrize("harm", HARMS)
def test_other_bytes_are_one_sentence(harm):
    with pytest.raises(UnreadableFile, match=r"hub\.fit .*upload the file again"):
        unpack(harm(pack(FIRST)), name="hub.fit")


def test_objects_are_neither_kept_nor_opened():
    held = FIRST.samples.assign(power_w=["a", "b", "c"])
    with pytest.raises(TypeError, match="power_w"):
        pack(Recording(**vars(FIRST) | {"samples": held}))
    column = io.BytesIO()
    np.save(column, np.array([{"a": 1}], dtype=object), allow_pickle=True)
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(pack(FIRST))) as old, zipfile.ZipFile(stream, "w") as new:
        for name in old.namelist():
            new.writestr(name, column.getvalue() if name == "columns/power_w.npy" else old.read(name))
    with pytest.raises(UnreadableFile):
        unpack(stream.getvalue(), name="hub.fit")
