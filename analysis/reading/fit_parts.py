"""The outer shell of a FIT file: headers, parts, lengths and checksums.

A file is one or more parts, each: header (12 or 14 bytes), data, two bytes of CRC-16/ARC over header and data.
Layout as `fitparse.base` reads it.
"""

from __future__ import annotations

from dataclasses import dataclass

from fastcrc import crc16

from analysis.errors import UnreadableFile
from analysis.reading.limits import MAX_FILE_BYTES

MAGIC = b".FIT"
MIN_HEADER = 12
CRC_SIZE = 2


@dataclass(frozen=True, kw_only=True)
class Part:
    """Data of one part: bytes [start, end) of the file.

    checksum_ok : None where the file ends before the checksum.
    missing : bytes that the header promises and the file does not hold.
    unfinished : the header's length is zero, all ones or out of date: the recorder never closed the file.
    """

    start: int
    end: int
    checksum_ok: bool | None
    missing: int = 0
    unfinished: bool = False


def find_parts(data: bytes, *, name: str) -> tuple[list[Part], list[str]]:
    """Parts of the file in order, and warnings about the shell. Raises UnreadableFile when not even one is there."""
    parts: list[Part] = []
    warnings: list[str] = []
    offset = 0
    while offset < len(data):
        header_size = data[offset]
        if header_size < MIN_HEADER or data[offset + 8 : offset + 12] != MAGIC or offset + header_size > len(data):
            break
        part = _part(data, offset, header_size)
        parts.append(part)
        offset = part.end + CRC_SIZE
    if not parts:
        raise UnreadableFile(f"{name} has no FIT header; export the ride again as FIT and try that file.")
    if offset < len(data) and data[offset:].strip(b"\0"):
        left = len(data) - offset
        warnings.append(f"{left} bytes after part {len(parts)} are not a further part of the file and were not read.")
    if len(parts) > 1:
        warnings.append(f"The file holds {len(parts)} parts one after the other; they were read as one recording.")
    warnings += _checksum_warnings(parts)
    return parts, warnings


def _part(data: bytes, offset: int, header_size: int) -> Part:
    declared = int.from_bytes(data[offset + 4 : offset + 8], "little")
    start = offset + header_size
    left = len(data) - start
    # A recorder that crashed left the length at zero, or at all ones.
    if (declared == 0 and left > CRC_SIZE) or declared > MAX_FILE_BYTES:
        return Part(start=start, end=len(data), checksum_ok=None, unfinished=True)
    end = start + min(declared, left)
    if declared + CRC_SIZE > left:
        return Part(start=start, end=end, checksum_ok=None, missing=declared + CRC_SIZE - left)
    stored = int.from_bytes(data[end : end + CRC_SIZE], "little")
    sound = crc16.arc(data[offset:end]) == stored
    if not sound and _goes_on(data, end + CRC_SIZE, declared):
        return Part(start=start, end=len(data), checksum_ok=None, unfinished=True)
    return Part(start=start, end=end, checksum_ok=sound)


def _goes_on(data: bytes, after: int, declared: int) -> bool:
    """Whether a part without a right checksum is followed by much that is no further part: its length is out of date."""
    left = len(data) - after
    return left > max(declared // 20, 100) and data[after + 8 : after + 12] != MAGIC and bool(data[after:].strip(b"\0"))


def _checksum_warnings(parts: list[Part]) -> list[str]:
    wrong = [str(i + 1) for i, part in enumerate(parts) if part.checksum_ok is False]
    if not wrong:
        return []
    where = "" if len(parts) == 1 else f" of part {', '.join(wrong)}"
    return [
        f"The stored checksum{where} does not match: the file was changed or damaged after it was written; "
        "single values may be wrong."
    ]
