"""What comes packed: `.gz` and `.zip` -> the plain files inside, within the ceilings of `limits`. Nothing touches a disk."""

from __future__ import annotations

import io
import zipfile
import zlib
from dataclasses import dataclass

from analysis.errors import UnreadableFile
from analysis.reading.limits import MAX_FILE_BYTES, MAX_FILES, MAX_RATIO, MAX_UPLOAD_BYTES, megabytes
from analysis.reading.naming import clean_name

GZIP, ZIP = b"\x1f\x8b", b"PK\x03\x04"
EMPTY_ZIP = b"PK\x05\x06"
CHUNK = 2**20
ENCRYPTED = 0x1


@dataclass(frozen=True, kw_only=True)
class Member:
    """One file of an archive: its bytes, or why they could not be had."""

    name: str
    data: bytes = b""
    problem: UnreadableFile | None = None


def is_gzip(data: bytes) -> bool:
    """Told by the first bytes."""
    return data[:2] == GZIP


def is_zip(data: bytes) -> bool:
    """Told by the first bytes."""
    return data[:4] in (ZIP, EMPTY_ZIP)


def gunzip(data: bytes, *, name: str) -> bytes:
    """The file inside a `.gz`. Raises UnreadableFile when it is damaged or crosses a ceiling.

    A stream that breaks off gives what came before; the reader of the format then says what is missing.
    """
    out, size, left = [], 0, data
    while left:
        stream = zlib.decompressobj(wbits=31)
        while not stream.eof:
            try:
                chunk = stream.decompress(left, CHUNK)
            except zlib.error:
                if not size:
                    raise UnreadableFile(f"{name} is a damaged gzip file; copy it again or unpack it yourself.") from None
                return b"".join(out)
            left = stream.unconsumed_tail or stream.unused_data
            size += len(chunk)
            _check_size(size, len(data), name, MAX_FILE_BYTES)
            out.append(chunk)
            if not chunk and not left:
                break
        if not is_gzip(left):  # another member may follow; anything else is padding
            break
    return b"".join(out)


def unzip(data: bytes, *, name: str) -> list[Member]:
    """Every file of a `.zip`, in its order. Raises UnreadableFile when the archive itself is unusable."""
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        entries = [e for e in archive.infolist() if not e.is_dir() and not _is_clutter(e.filename)]
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError, EOFError):
        raise UnreadableFile(f"{name} is a damaged zip archive; pack it again or give the files one by one.") from None
    if not entries:
        raise UnreadableFile(f"{name} is an empty zip archive; put the recordings into it.")
    if len(entries) > MAX_FILES:
        raise UnreadableFile(f"{name} holds {len(entries)} files, the limit is {MAX_FILES}; leave out what is no recording.")
    members, total = [], 0
    for entry, label in zip(entries, _labels([e.filename for e in entries]), strict=True):
        try:
            content = _extract(archive, entry, label, MAX_UPLOAD_BYTES - total)
        except UnreadableFile as problem:
            members.append(Member(name=label, problem=problem))
            continue
        total += len(content)
        members.append(Member(name=label, data=content))
    return members


def _extract(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, name: str, room: int) -> bytes:
    if entry.flag_bits & ENCRYPTED:
        raise UnreadableFile(f"{name} is locked with a password; pack it again without one.")
    out, size = [], 0
    try:
        with archive.open(entry) as stream:
            while chunk := stream.read(CHUNK):
                size += len(chunk)
                _check_size(size, entry.compress_size, name, min(MAX_FILE_BYTES, room))
                out.append(chunk)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError, OSError, RuntimeError):
        raise UnreadableFile(f"{name} is damaged inside its zip archive; pack it again or give it by itself.") from None
    return b"".join(out)


def _check_size(size: int, packed: int, name: str, limit: int) -> None:
    if size > limit:
        raise UnreadableFile(
            f"{name} unpacks to more than {megabytes(limit)}; the limits are {megabytes(MAX_FILE_BYTES)} per file and "
            f"{megabytes(MAX_UPLOAD_BYTES)} per upload."
        )
    if size > CHUNK and size > MAX_RATIO * max(packed, 1):
        raise UnreadableFile(
            f"{name} unpacks to more than {MAX_RATIO} times its size, which no recording does; give the plain file."
        )


def _is_clutter(path: str) -> bool:
    """What operating systems put beside the files."""
    parts = path.replace("\\", "/").split("/")
    return parts[0] == "__MACOSX" or parts[-1].startswith(".") or parts[-1].lower() in ("thumbs.db", "desktop.ini")


def _labels(paths: list[str]) -> list[str]:
    """Names without folders; where two would be the same, the folder's name goes in front."""
    plain = [clean_name(path) for path in paths]
    labels = []
    for path, label in zip(paths, plain, strict=True):
        if plain.count(label) > 1:
            label = clean_name(" ".join(path.replace("\\", "/").strip("/").split("/")))
        labels.append(label)
    return labels
