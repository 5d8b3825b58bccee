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
    """One plain file of an upload: its bytes, or why they could not be had."""

    name: str
    data: bytes = b""
    problem: UnreadableFile | None = None


@dataclass
class Room:
    """How many bytes an upload may still unpack to; what was refused counts too, because it was unpacked as well."""

    left: int

    def take(self, chunk: bytes, name: str) -> None:
        """Raises UnreadableFile when this is more than the upload may hold."""
        self.left -= len(chunk)
        if self.left < 0:
            raise UnreadableFile(
                f"{name} is left out: the upload unpacks to more than {megabytes(MAX_UPLOAD_BYTES)}, the limit per upload; "
                "give this file by itself."
            )


def unpack(data: bytes, *, name: str) -> list[Member]:
    """The plain files in what was given: itself, the one in a `.gz`, or every one in a `.zip`, in its order.

    What cannot be had stands in the list with its problem, so that it does not cost the good ones. Raises nothing.
    """
    room = Room(left=MAX_UPLOAD_BYTES)
    try:
        return _unzip(data, name, room) if is_zip(data) else [Member(name=name, data=_plain(data, name, room))]
    except UnreadableFile as problem:
        return [Member(name=name, problem=problem)]


def _plain(data: bytes, name: str, room: Room) -> bytes:
    plain = _gunzip(data, name, room) if is_gzip(data) else data
    if is_gzip(plain) or is_zip(plain):
        raise UnreadableFile(f"{name} is an archive inside an archive; unpack it and give what is in it.")
    return plain


def is_gzip(data: bytes) -> bool:
    """Told by the first bytes."""
    return data[:2] == GZIP


def is_zip(data: bytes) -> bool:
    """Told by the first bytes."""
    return data[:4] in (ZIP, EMPTY_ZIP)


def _gunzip(data: bytes, name: str, room: Room) -> bytes:
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
            room.take(chunk, name)
            _check_size(size, len(data), name)
            out.append(chunk)
            if not chunk and not left:
                break
        if not is_gzip(left):  # another member may follow; anything else is padding
            break
    return b"".join(out)


def _unzip(data: bytes, name: str, room: Room) -> list[Member]:
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
    members = []
    for entry, label in zip(entries, _labels([e.filename for e in entries]), strict=True):
        try:
            content = _plain(_extract(archive, entry, label, room), label, room)
        except UnreadableFile as problem:
            members.append(Member(name=label, problem=problem))
            continue
        members.append(Member(name=label, data=content))
    return members


def _extract(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, name: str, room: Room) -> bytes:
    if entry.flag_bits & ENCRYPTED:
        raise UnreadableFile(f"{name} is locked with a password; pack it again without one.")
    out, size = [], 0
    try:
        with archive.open(entry) as stream:
            while chunk := stream.read(CHUNK):
                size += len(chunk)
                room.take(chunk, name)
                _check_size(size, entry.compress_size, name)
                out.append(chunk)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError, OSError, RuntimeError):
        raise UnreadableFile(f"{name} is damaged inside its zip archive; pack it again or give it by itself.") from None
    return b"".join(out)


def _check_size(size: int, packed: int, name: str) -> None:
    if size > MAX_FILE_BYTES:
        raise UnreadableFile(
            f"{name} unpacks to more than {megabytes(MAX_FILE_BYTES)}, the limit per file; a single ride is far smaller, "
            "check that it is the right one."
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
