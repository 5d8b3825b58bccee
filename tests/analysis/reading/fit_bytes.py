"""A few lines that write FIT, for tests: messages as given, header and checksums right unless asked otherwise.

Own code after the layout that `fitparse.base` reads; an independent writer is used in test_built_files.py.
"""

from __future__ import annotations

import struct

from fastcrc import crc16

RECORD, FILE_ID, EVENT, DEVICE_INFO, DEVELOPER_DATA_ID, FIELD_DESCRIPTION = 20, 0, 21, 23, 207, 206
BASE = {"enum": (0x00, "B"), "sint8": (0x01, "b"), "uint8": (0x02, "B"), "uint16": (0x84, "H"), "sint16": (0x83, "h"),
        "uint32": (0x86, "I"), "uint32z": (0x8C, "I"), "sint32": (0x85, "i"), "byte": (0x0D, "s"),
        "string": (0x07, "s")}  # fmt: skip


def define(local: int, message: int, fields: list[tuple], developer: list[tuple[int, int, int]] = (), big: bool = False):
    """Definition message. fields: (number, base type name[, size in bytes]); developer: (number, size, index)."""
    end = ">" if big else "<"
    out = struct.pack(end + "BBBHB", 0x40 | local | (0x20 if developer else 0), 0, int(big), message, len(fields))
    for number, base, *size in fields:
        code, letter = BASE[base]
        out += bytes([number, size[0] if size else struct.calcsize(letter), code])
    if developer:
        out += bytes([len(developer)]) + b"".join(bytes(d) for d in developer)
    return out


def put(local: int, layout: str, *values, big: bool = False) -> bytes:
    """Data message: struct letters and values."""
    return bytes([local]) + struct.pack((">" if big else "<") + layout, *values)


def put_compressed(local: int, offset: int, layout: str, *values) -> bytes:
    """Data message under a compressed-stamp header: local number 0 to 3, offset 0 to 31 s."""
    return bytes([0x80 | local << 5 | offset & 0x1F]) + struct.pack("<" + layout, *values)


def wrap(body: bytes, *, declared: int | None = None, checksum: int | None = None, header: int = 14) -> bytes:
    """Header and checksum around the messages; `declared` and `checksum` put wrong ones."""
    head = struct.pack("<BBHI4s", header, 0x10, 2100, len(body) if declared is None else declared, b".FIT")
    if header == 14:
        head += struct.pack("<H", crc16.arc(head))
    whole = head + body
    return whole + struct.pack("<H", crc16.arc(whole) if checksum is None else checksum)


def ride(powers: list[int], *, start: int = 1_000_000_000, stamps: list[int] | None = None) -> bytes:
    """A plain file of 1 Hz power, one `record` per value."""
    stamps = stamps or list(range(start, start + len(powers)))
    body = define(0, RECORD, [(253, "uint32"), (7, "uint16")])
    return wrap(body + b"".join(put(0, "IH", t, p) for t, p in zip(stamps, powers, strict=True)))
