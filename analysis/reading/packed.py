"""A recording as bytes and back: what is kept of a file for good once it was read. Position, rider and serials are gone by
then; the file's own bytes are not among these.

A zip of one JSON text and one `.npy` per column, no pickle. Nothing is deflated and every stamp is fixed, so the same recording
gives the same bytes on every machine and under every file name: the name is no part of it and is given again on opening.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from typing import Any

import numpy as np
import pandas as pd

from analysis.errors import UnreadableFile
from analysis.reading.naming import first_guesses
from analysis.reading.recording import Recording

# What the bytes mean. A change of that takes the next number, and `unpack` goes on opening every earlier one
# (tests/analysis/reading/test_packed.py holds bytes of each).
FORMAT = 1

ABOUT = "recording.json"
_STAMP = (1980, 1, 1, 0, 0, 0)  # the first a zip can hold
_FROM_NAME = ("label_guess", "point_guess")


def pack(recording: Recording) -> bytes:
    """Bytes from which `unpack` makes an equal recording, under whatever name.

    Raises
    ------
    TypeError
        A column or a fact that is neither number nor text.
    """
    about = {
        "kept_format": FORMAT,
        "sha256": recording.sha256,
        "format": recording.format,
        "channels": list(recording.channels),
        "interval_s": recording.interval_s,
        "absolute_clock": recording.absolute_clock,
        "facts": {key: value for key, value in recording.facts.items() if key not in _FROM_NAME},
        "warnings": list(recording.warnings),
        "columns": list(recording.samples.columns),
    }
    members = {ABOUT: json.dumps(about, ensure_ascii=False, separators=(",", ":")).encode()}
    for name, column in recording.samples.items():
        members[_place(name)] = _npy(name, column.to_numpy())
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
        for name, data in members.items():
            entry = zipfile.ZipInfo(name, _STAMP)
            entry.create_system = 3  # else it differs between systems
            archive.writestr(entry, data)
    return stream.getvalue()


def kept_id_of(recording: Recording) -> str:
    """SHA-256 of what is kept of a recording, in hexadecimal: its id."""
    return hashlib.sha256(pack(recording)).hexdigest()


def unpack(data: bytes, *, name: str) -> Recording:
    """The recording back, under this name.

    Raises
    ------
    UnreadableFile
        Bytes that `pack` did not make, or that a newer program made.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            about = json.loads(archive.read(ABOUT))
            found = about["kept_format"]
            if found > FORMAT:
                raise UnreadableFile(
                    f"{name} was kept by a newer countercheck (its format is {found}, this program knows {FORMAT}); "
                    "update the program."
                )
            columns = {column: _array(archive, column) for column in about["columns"]}
        return Recording(
            name=name,
            sha256=about["sha256"],
            format=about["format"],
            samples=pd.DataFrame(columns, copy=False),
            channels=tuple(about["channels"]),
            interval_s=about["interval_s"],
            absolute_clock=about["absolute_clock"],
            facts=about["facts"] | first_guesses(name, about["facts"]),
            warnings=tuple(about["warnings"]),
        )
    except (zipfile.BadZipFile, KeyError, TypeError, ValueError, EOFError, NotImplementedError):
        raise UnreadableFile(f"{name} is kept in a form that this program cannot read; upload the file again.") from None


def _place(column: str) -> str:
    return f"columns/{column}.npy"


def _npy(name: str, values: np.ndarray) -> bytes:
    if values.dtype.kind not in "fiub":
        raise TypeError(f"Column {name} holds {values.dtype}, not numbers.")
    stream = io.BytesIO()
    little = np.ascontiguousarray(values, values.dtype.newbyteorder("<"))
    np.lib.format.write_array(stream, little, version=(1, 0), allow_pickle=False)
    return stream.getvalue()


def _array(archive: zipfile.ZipFile, column: str) -> Any:
    return np.lib.format.read_array(io.BytesIO(archive.read(_place(column))), allow_pickle=False)
