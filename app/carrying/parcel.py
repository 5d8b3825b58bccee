"""The file itself: members under fixed names in a zip, and a manifest with the SHA-256 of each.

The same members give the same bytes. On the way in nothing is believed: no member is unpacked beyond the ceilings of an upload,
and nothing in it names a place on a disk. Knows nothing of trials.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import stat
import struct
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.errors import CountercheckError
from analysis.reading.limits import MAX_FILE_BYTES, MAX_FILES, MAX_RATIO, MAX_UPLOAD_BYTES, megabytes

FORMAT = "countercheck trial"
# What the members mean; rises with every change that an older program would misunderstand.
FORMAT_VERSION = 1
MANIFEST, TRIAL, RESULT = "manifest.json", "trial.json", "result.json"
RECORDING = re.compile(r"recordings/([0-9a-f]{64})\.zip")

MAX_MEMBERS = MAX_FILES + 3
# The list at the end of a zip: some 100 bytes a member. Read before anything is made of it.
MAX_LIST_BYTES = 64 * 2**10
# Every version of the set-up and every note; a thousand edits take some 300 KB.
MAX_TEXT_BYTES = 16 * 2**20
CHUNK = 2**20
_STAMP = (1980, 1, 1, 0, 0, 0)  # the first a zip can hold
_END, _END_BYTES, _ZIP64 = b"PK\x05\x06", 22, b"PK\x06\x07"
_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, ValueError, OSError, RuntimeError, struct.error)


class BadParcel(CountercheckError):
    """The file is no trial that countercheck wrote, is damaged, or was written by a newer program."""


@dataclass(frozen=True, kw_only=True)
class Parcel:
    """What came out: the manifest, and the bytes of every member but it, each as its checksum says."""

    manifest: Mapping[str, Any]
    members: Mapping[str, bytes]


def write(members: Mapping[str, bytes], about: Mapping[str, Any]) -> bytes:
    """The file. `about` joins the manifest: JSON-able, and the same for the same trial."""
    listed = [{"name": name, "n_bytes": len(data), "sha256": _sha256(data)} for name, data in members.items()]
    manifest = {"format": FORMAT, "format_version": FORMAT_VERSION, **about, "members": listed}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in {MANIFEST: json_bytes(manifest), **members}.items():
            entry = zipfile.ZipInfo(name, _STAMP)
            entry.create_system = 3  # else it differs between systems
            entry.external_attr = 0o600 << 16
            archive.writestr(entry, data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def is_parcel(data: bytes) -> bool:
    """Whether this is meant to be one: a zip whose list names a manifest. A damaged one still is."""
    return data[:2] == b"PK" and MANIFEST.encode() in data[-MAX_LIST_BYTES:]


def read(data: bytes, *, name: str) -> Parcel:
    """Every member, checked.

    Raises
    ------
    BadParcel
        Names the file, the member where there is one, and what to do.
    """
    _check_end(data, name)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            _check_entries(entries, len(data), name)
            left = MAX_UPLOAD_BYTES
            content = {}
            for entry in entries:
                content[entry.filename] = _extract(archive, entry, left, name)
                left -= len(content[entry.filename])
    except _DAMAGED:
        raise BadParcel(f"{name} is a damaged zip archive; take it away from the trial's page again.") from None
    manifest = _manifest(content.pop(MANIFEST), name)
    _check_sums(manifest["members"], content, name)
    return Parcel(manifest=manifest, members=content)


def json_bytes(tree: Any) -> bytes:
    """JSON for people too: one line per entry, text as it is."""
    return json.dumps(tree, ensure_ascii=False, allow_nan=False, indent=1).encode()


def tree_of(data: bytes, member: str, name: str) -> Any:
    """The JSON in a member. Raises BadParcel."""
    try:
        tree = json.loads(data, parse_constant=_no_constant)
        json.dumps(tree, ensure_ascii=False, allow_nan=False).encode()  # half a character would be refused by the database only
    except (ValueError, RecursionError):
        raise BadParcel(f"{name}: {member} is not the JSON that countercheck writes; give the unchanged file.") from None
    return tree


def _check_end(data: bytes, name: str) -> None:
    """Before the list of members is read: it must be as short as ours. A longer or extended one is made to fill the memory."""
    end = data[-_END_BYTES:]
    if data[:4] != b"PK\x03\x04" or end[:4] != _END or end[20:22] != b"\0\0":
        raise BadParcel(f"{name} is not a whole zip archive; take it away from the trial's page again.")
    if data[-_END_BYTES - 20 : -_END_BYTES - 16] == _ZIP64 or int.from_bytes(end[12:16], "little") > MAX_LIST_BYTES:
        raise BadParcel(f"{name} lists more than a trial holds; give the unchanged file.")


def _check_entries(entries: list[zipfile.ZipInfo], n_bytes: int, name: str) -> None:
    names = [e.filename for e in entries]
    if len(entries) > MAX_MEMBERS or MANIFEST not in names or TRIAL not in names:
        raise BadParcel(f"{name} is not a trial as countercheck writes it; give the file that the trial's page gave you.")
    if len(set(names)) != len(names):
        raise BadParcel(f"{name} holds two members of one name; give the unchanged file.")
    for entry in entries:
        known = entry.filename in (MANIFEST, TRIAL, RESULT) or RECORDING.fullmatch(entry.filename)
        mode = entry.external_attr >> 16
        if not known or (mode and not stat.S_ISREG(mode) and stat.S_IFMT(mode)):
            raise BadParcel(f"{name} holds {entry.filename[:80]!r}, which is no part of a trial; give the unchanged file.")
        if entry.flag_bits & 1 or entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise BadParcel(f"{name}: {entry.filename} is locked or packed in another way; give the unchanged file.")
    if sum(e.compress_size for e in entries) > n_bytes:
        raise BadParcel(f"{name} claims more than it holds; give the unchanged file.")


def _extract(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, left: int, name: str) -> bytes:
    """One member within the ceilings, whatever it says of its length."""
    most = min(left, MAX_FILE_BYTES if RECORDING.fullmatch(entry.filename) else MAX_TEXT_BYTES)
    out, size = [], 0
    with archive.open(entry) as stream:
        while chunk := stream.read(CHUNK):
            size += len(chunk)
            if size > most:
                raise BadParcel(f"{name}: {entry.filename} unpacks to more than {megabytes(most)}; no trial needs that.")
            if size > CHUNK and size > MAX_RATIO * max(entry.compress_size, 1):
                raise BadParcel(f"{name}: {entry.filename} unpacks to more than {MAX_RATIO} times its size; no trial does that.")
            out.append(chunk)
    return b"".join(out)


def _manifest(data: bytes, name: str) -> dict[str, Any]:
    tree = tree_of(data, MANIFEST, name)
    if not isinstance(tree, dict) or tree.get("format") != FORMAT:
        raise BadParcel(f"{name} is not a trial as countercheck writes it; give the file that the trial's page gave you.")
    found = tree.get("format_version")
    if type(found) is not int or found < 1:
        raise BadParcel(f"{name} does not say in which format it is written; give the unchanged file.")
    if found > FORMAT_VERSION:
        raise BadParcel(
            f"{name} was written by a newer countercheck (its format is {found}, this program knows {FORMAT_VERSION}); "
            "update this program, or ask for the page's address instead."
        )
    members = tree.get("members")
    if not isinstance(members, list) or not all(isinstance(m, dict) and isinstance(m.get("name"), str) for m in members):
        raise BadParcel(f"{name}: {MANIFEST} does not list the members; give the unchanged file.")
    return tree


def _check_sums(listed: list[dict[str, Any]], content: Mapping[str, bytes], name: str) -> None:
    if sorted(m["name"] for m in listed) != sorted(content):
        raise BadParcel(f"{name} does not hold the members that its manifest lists; take it away from the trial's page again.")
    for member in listed:
        if member.get("sha256") != _sha256(content[member["name"]]):
            raise BadParcel(
                f"{name}: {member['name']} is not as it was written (its checksum differs); "
                "take the file away from the trial's page again."
            )


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _no_constant(text: str) -> Any:
    raise ValueError(text)
