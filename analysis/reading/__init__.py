"""Bytes of one file -> Recording. One module per format; no module here opens a path."""

from __future__ import annotations

from analysis.reading.csv import read_csv
from analysis.reading.fit import read_fit
from analysis.reading.naming import clean_name
from analysis.reading.recording import CHANNELS, Recording
from analysis.reading.sniff import sniff

__all__ = ["CHANNELS", "Recording", "read"]


def read(data: bytes, *, name: str) -> Recording:
    """Read one file, whatever its format; `name` is used in messages and for the first guesses.

    Raises
    ------
    UnreadableFile
        Empty, too large, of another kind, without samples, or too damaged: one sentence that says which and what to do.
    """
    name = clean_name(name)
    readers = {"fit": read_fit, "csv": read_csv}
    return readers[sniff(data, name=name)](bytes(data), name=name)
