"""A kept recording that somebody brings along: bytes that say `packed.pack` wrote them, from a place we do not trust.

`packed.unpack` opens what this program kept itself and believes it. Here everything that later rooms rely on is looked at
first: no bytes beyond those given are ever unpacked, and a recording that reading a file could not have made is refused.
"""

from __future__ import annotations

import io
import json
import math
import re
import zipfile
from typing import Any

import numpy as np

from analysis.errors import UnreadableFile
from analysis.reading import packed
from analysis.reading.clock import MAX_SPAN_S
from analysis.reading.limits import MAX_SAMPLES
from analysis.reading.recording import CHANNELS, Recording

MAX_MEMBERS = len(CHANNELS) + 2  # the text, the stamps, every channel
MAX_ABOUT_BYTES = 8 * 2**20  # a day of laps, stops and observations is far below
MAX_TEXT = 2000
# What a number ending in a unit may be; far beyond any reading, far below what overflows in a square.
MAX_NUMBER = 1e12
MAX_STAMP_S = 1e10  # the year 2286; stamps have to be told as dates
_UNIT = re.compile(r"_(s|w|v|j|m|mm|mps|rpm|bpm|degc|deg|frac|pct|count)$")
_FLAT = ("recorder", "ride", "settings", "clock")
_ROWS = ("sensors", "laps", "workout", "calibrations", "developer_fields", "health")


class _NotOurs(ValueError):
    """One thing in the bytes that `pack` would not have written."""


def unpack_brought(data: bytes, *, name: str) -> Recording:
    """The recording under this name, once it is certain that every room can work with it.

    Raises
    ------
    UnreadableFile
        Not what `packed.pack` writes, or written by a newer program; names the recording and what is wrong.
    """
    try:
        kept_format = _check_frame(data)
        recording = packed.unpack(data, name=name)
        _check_samples(recording)
        _check_about(recording)
        if kept_format == packed.FORMAT and packed.pack(recording) != data:
            raise _NotOurs("its bytes are not laid out as they should be")
    except _NotOurs as problem:
        raise UnreadableFile(f"{name} is no recording that countercheck kept ({problem}); give the unchanged file.") from None
    except (zipfile.BadZipFile, ValueError, TypeError, KeyError, AttributeError, EOFError, NotImplementedError,
            OverflowError, RecursionError, MemoryError, OSError, RuntimeError):  # fmt: skip
        raise UnreadableFile(f"{name} is no recording that countercheck kept; give the unchanged file.") from None
    return recording


def _check_frame(data: bytes) -> int:
    """Nothing compressed, no column longer than its bytes; the format's number."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        entries = archive.infolist()
        if len(entries) > MAX_MEMBERS or len({e.filename for e in entries}) != len(entries):
            raise _NotOurs("too many members")
        if any(e.compress_type != zipfile.ZIP_STORED or e.flag_bits & 1 for e in entries):
            raise _NotOurs("a member is compressed or locked")
        if sum(e.file_size for e in entries) > len(data):
            raise _NotOurs("its members claim more bytes than there are")
        about = json.loads(archive.read(packed.ABOUT), parse_constant=_no_constant)
        found = about["kept_format"]
        if type(found) is not int or found < 1:
            raise _NotOurs("it does not say its format")
        if found > packed.FORMAT:
            return found  # opening it says so
        if len(archive.read(packed.ABOUT)) > MAX_ABOUT_BYTES:
            raise _NotOurs("it says more than a recording has to say")
        for entry in entries:
            if entry.filename != packed.ABOUT:
                _check_column(archive.read(entry))
    return found


def _check_column(data: bytes) -> None:
    """Before numpy makes room for a column: it must be as long as it says, of numbers, in one dimension."""
    stream = io.BytesIO(data)
    if np.lib.format.read_magic(stream) != (1, 0):
        raise _NotOurs("a column is of another kind")
    shape, _, dtype = np.lib.format.read_array_header_1_0(stream)
    if dtype.kind not in "fiu" or dtype.itemsize > 8 or len(shape) != 1 or not 2 <= shape[0] <= MAX_SAMPLES:
        raise _NotOurs("a column does not hold samples")
    if shape[0] * dtype.itemsize != len(data) - stream.tell():
        raise _NotOurs("a column is longer or shorter than it says")


def _check_samples(recording: Recording) -> None:
    frame = recording.samples
    if "time_s" not in frame or not set(frame.columns) <= {"time_s", *CHANNELS}:
        raise _NotOurs("its columns are not known")
    time_s = frame["time_s"].to_numpy()
    if time_s.dtype != np.float64 or not np.isfinite(time_s).all() or not (np.diff(time_s) > 0).all():
        raise _NotOurs("its stamps do not ascend")
    if np.abs(time_s[[0, -1]]).max() > MAX_STAMP_S or time_s[-1] - time_s[0] > MAX_SPAN_S:
        raise _NotOurs("its stamps lie too far apart")
    for channel in frame.columns:
        values = frame[channel].to_numpy()
        if (np.abs(values[~np.isnan(values)]) > MAX_NUMBER).any():
            raise _NotOurs(f"{channel} holds what no device reads")
    known = set(frame.columns) - {"time_s"}
    if not all(type(c) is str for c in recording.channels) or len(set(recording.channels)) != len(recording.channels):
        raise _NotOurs("its channels are not told plainly")
    if not set(recording.channels) <= known or any(not np.isfinite(frame[c].to_numpy()).any() for c in recording.channels):
        raise _NotOurs("a channel has no samples")


def _check_about(recording: Recording) -> None:
    if not (type(recording.sha256) is str and re.fullmatch("[0-9a-f]{64}", recording.sha256)):
        raise _NotOurs("the hash of its file is none")
    if not (type(recording.format) is str and re.fullmatch("[a-z0-9]{1,20}", recording.format)):
        raise _NotOurs("its format is none")
    if type(recording.interval_s) is not float or not 0 < recording.interval_s <= MAX_SPAN_S:
        raise _NotOurs("its interval is none")
    if type(recording.absolute_clock) is not bool or not all(type(w) is str and _scalar("", w) for w in recording.warnings):
        raise _NotOurs("what it says of itself is not plain")
    for key, value in recording.facts.items():
        if not _known_shape(key, value):
            raise _NotOurs(f"the fact {key[:40]!r} has no known shape")
    json.dumps(recording.facts, ensure_ascii=False, allow_nan=False).encode()  # a lone surrogate cannot be stored


def _known_shape(key: str, value: Any) -> bool:
    if key == "timer_stops":
        pairs = isinstance(value, list) and all(isinstance(p, list) and len(p) == 2 for p in value)
        return pairs and all(_scalar("edge_s", edge) and edge is not None for p in value for edge in p)
    if key in _ROWS:
        dated = all("at_s" in row for row in value) if key == "calibrations" else True
        return isinstance(value, list) and all(_flat(row) for row in value) and dated
    if key in _FLAT:
        return _flat(value)
    return _scalar(key, value) or _flat(value) or (isinstance(value, list) and all(map(_flat, value)))


def _flat(value: Any) -> bool:
    return isinstance(value, dict) and all(_scalar(k, v) for k, v in value.items())


def _scalar(key: str, value: Any) -> bool:
    """A number where the key ends in a unit; else a number, a word of at most MAX_TEXT characters, yes or no, or nothing."""
    if value is None:
        return True
    if type(value) in (int, float):
        return math.isfinite(value) and abs(value) <= MAX_NUMBER
    if _UNIT.search(key):
        return False
    return type(value) is bool or (type(value) is str and len(value) <= MAX_TEXT)


def _no_constant(text: str) -> Any:
    raise _NotOurs(f"it holds {text}")
