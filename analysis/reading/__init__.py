"""Bytes of one file -> Recording. One module per format; no module here opens a path."""

from __future__ import annotations

from analysis.errors import CountercheckError, UnreadableFile
from analysis.reading import bundle
from analysis.reading.csv import read_csv
from analysis.reading.fit import read_fit
from analysis.reading.gpx import read_gpx
from analysis.reading.naming import clean_name
from analysis.reading.recording import CHANNELS, Recording
from analysis.reading.sniff import sniff
from analysis.reading.tcx import read_tcx

__all__ = ["CHANNELS", "Recording", "read", "read_many"]

READERS = {"fit": read_fit, "tcx": read_tcx, "gpx": read_gpx, "csv": read_csv}


def read(data: bytes, *, name: str) -> Recording:
    """Read one file, whatever its format, plain or as `.gz`, or the only one in a `.zip`.

    `name` is used in messages and for the first guesses. The recording's `sha256` is that of the plain file.

    Raises
    ------
    UnreadableFile
        Empty, too large, of another kind, without samples, or too damaged: one sentence that says which and what to do.
    """
    found = read_many(data, name=name)
    if len(found) > 1:
        raise UnreadableFile(f"{clean_name(name)} holds {len(found)} files; unpack it and give the recording you mean.")
    if isinstance(found[0], CountercheckError):
        raise found[0]
    return found[0]


def read_many(data: bytes, *, name: str) -> list[Recording | CountercheckError]:
    """Read every recording in one file: one, or as many as a `.zip` holds, in its order.

    A file that cannot be read stands in the list as its error, so that it does not cost the good ones. Raises nothing.
    """
    name = clean_name(name)
    if not isinstance(data, (bytes, bytearray, memoryview)):
        return [UnreadableFile(f"{name}: expected the bytes of a file, got {type(data).__name__}.")]
    return [member.problem or _read_one(member.data, member.name) for member in bundle.unpack(bytes(data), name=name)]


def _read_one(data: bytes, name: str) -> Recording | CountercheckError:
    try:
        return READERS[sniff(data, name=name)](data, name=name)
    except CountercheckError as problem:
        return problem
