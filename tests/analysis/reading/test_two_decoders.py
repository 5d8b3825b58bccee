"""Referees: fitparse (through `fit_fitparse`) and fitdecode, on every numeric field of every real file they read."""

from __future__ import annotations

import fitdecode
import fitparse
import numpy as np
import pytest
from fitparse.records import BASE_TYPES
from real_rides import expected_files

from analysis.reading.fit_content import PLACE_FIELDS
from analysis.reading.fit_decode import decode, decode_slowly
from analysis.reading.fit_profile import BASES

READABLE = [n for n, f in expected_files().items() if f["expected_outcome"] != "refused"]


@pytest.mark.parametrize("name", [n for n in READABLE if n != "misaligned-field.fit"])  # fitparse dies on that one
def test_same_content_as_fitparse(name, rides):
    data = (rides / name).read_bytes()
    fast, slow = decode(data, name=name), decode_slowly(data, name=name)
    assert fast.n_records == slow.n_records and fast.n_parts == slow.n_parts
    for field, column in fast.records.items():
        # a column that was declared and never filled exists only here
        np.testing.assert_array_equal(column, slow.records.get(field, np.full(slow.n_records, np.nan)), err_msg=field)
    assert set(slow.records) <= set(fast.records)
    assert [(f.name, f.units, f.native_field_num) for f in fast.developer] == [
        (f.name, f.units, f.native_field_num) for f in slow.developer
    ]
    for mine, theirs in zip(fast.developer, slow.developer, strict=True):
        np.testing.assert_array_equal(mine.values, theirs.values, err_msg=mine.name)
    assert fast.messages == slow.messages


def _fitdecode_columns(path) -> dict[str, list]:
    """Every native numeric field of every record as fitdecode gives it, raw enough to compare: value before enums."""
    columns: dict[str, list] = {}
    n = 0
    with fitdecode.FitReader(
        str(path), check_crc=fitdecode.CrcCheck.WARN, error_handling=fitdecode.ErrorHandling.IGNORE,
        processor=fitdecode.DataProcessorBase(),
    ) as reader:  # fmt: skip
        try:
            for frame in reader:
                if frame.frame_type != fitdecode.FIT_FRAME_DATA or frame.name != "record":
                    continue
                for item in frame.fields:
                    if item.field is not None and item.field_type == "field" and item.field_def is not None:
                        columns.setdefault(item.name, []).append((n, item.value, item.raw_value))
                n += 1
        except fitdecode.FitError:
            pass
    columns["n"] = n
    return columns


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", READABLE)
def test_same_numbers_as_fitdecode(name, rides):
    content = decode((rides / name).read_bytes(), name=name)
    theirs = _fitdecode_columns(rides / name)
    assert content.n_records == theirs.pop("n")
    compared = 0
    for field, cells in theirs.items():
        if field in PLACE_FIELDS or field not in content.records or field == "timestamp":
            continue
        column = np.full(content.n_records, np.nan)
        for row, value, raw in cells:
            value = raw if isinstance(value, str) else value  # 'mask' and 'right' of the balance byte
            if isinstance(value, (int, float)):
                column[row] = value
        np.testing.assert_allclose(content.records[field], column, rtol=1e-12, err_msg=field)
        compared += 1
    assert compared >= 2


def test_base_types_are_those_of_fitparse():
    letters = {"B": "u1", "b": "i1", "h": "i2", "H": "u2", "i": "i4", "I": "u4", "q": "i8", "Q": "u8", "f": "f4",
               "d": "f8", "s": "S"}  # fmt: skip
    for code, theirs in BASE_TYPES.items():
        mine = BASES[code & 0x1F]
        if theirs.name == "byte":
            assert mine.letter == "V"
            continue
        assert (mine.letter, mine.size) == (letters[theirs.fmt], theirs.size)
        if mine.invalid is not None:
            assert theirs.parse(mine.invalid) is None and theirs.parse(mine.invalid ^ 1) is not None


def test_fitparse_is_the_version_whose_profile_was_checked():
    # The profile tables come from here; another version may rename fields and silently empty a channel.
    assert fitparse.__version__.startswith("1.")
