"""Every byte that a server keeps and serves, also what is packed inside it, for tests that search it."""

from __future__ import annotations

import base64
import binascii
import io
import re
import sqlite3
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

BASE64 = re.compile(rb"[A-Za-z0-9+/]{40,}={0,2}")
GZIP, ZLIB = re.compile(rb"\x1f\x8b\x08"), re.compile(rb"\x78[\x01\x5e\x9c\xda]")
DEEPEST = 4


def kept_bytes(*folders: Path) -> list[bytes]:
    """The content of every file under the folders, the cells of every SQLite table, and all that is packed in either."""
    files = {path for folder in folders for path in folder.rglob("*") if path.is_file()}
    found = []
    for path in sorted(files):
        data = path.read_bytes()
        found += unpacked(data)
        if data.startswith(b"SQLite format 3"):
            for cell in _cells(path):
                found += unpacked(cell)
    return found


def unpacked(data: bytes, depth: int = 0) -> list[bytes]:
    """The bytes, and what gzip, zlib, zip (npz too) and base64 in them hold, wherever it begins."""
    found = [data]
    if depth < DEEPEST:
        for inner in (*_zipped(data), *_deflated(data), *_base64(data)):
            found += unpacked(inner, depth + 1)
    return found


def _zipped(data: bytes) -> Iterator[bytes]:
    if b"PK\x05\x06" in data:
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                yield from (archive.read(name) for name in archive.namelist())
        except (zipfile.BadZipFile, ValueError, NotImplementedError):
            return


def _deflated(data: bytes) -> Iterator[bytes]:
    for magic, window in ((GZIP, 31), (ZLIB, 15)):
        for start in (match.start() for match in magic.finditer(data)):
            try:
                inner = zlib.decompressobj(window).decompress(data[start:])
            except zlib.error:
                continue
            if len(inner) > 40:
                yield inner


def _base64(data: bytes) -> Iterator[bytes]:
    for match in BASE64.finditer(data.replace(b"\\u002b", b"+").replace(b"\\u002f", b"/").replace(b"\\/", b"/")):
        text = match.group().rstrip(b"=")
        try:
            yield base64.b64decode(text[: len(text) // 4 * 4], validate=True)
        except binascii.Error:
            continue


def _cells(path: Path) -> Iterator[bytes]:
    with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as connection:
        tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        for table in tables:
            for row in connection.execute(f'SELECT * FROM "{table}"'):
                for cell in row:
                    if isinstance(cell, (bytes, str)):
                        yield cell if isinstance(cell, bytes) else cell.encode()


def served_bytes(client, paths: list[str], values: dict[str, object]) -> list[bytes]:
    """Every answer a reader can get: these addresses, Dash's own, and every callback, fed from `values` ("id.property")."""
    answers = [client.get(path) for path in ("/", *paths, "/_dash-layout", "/_dash-dependencies")]
    for spec in client.get("/_dash-dependencies").get_json():
        if spec.get("clientside_function"):
            continue
        outputs = [
            dict(zip(("id", "property"), part.rsplit(".", 1), strict=True))
            for part in re.sub(r"@[0-9a-f]+", "", spec["output"]).strip(".").split("...")
        ]
        body = {
            "output": spec["output"], "outputs": outputs if spec["output"].startswith("..") else outputs[0],
            "inputs": _filled(spec["inputs"], values), "state": _filled(spec["state"], values),
            "changedPropIds": [f"{spec['inputs'][0]['id']}.{spec['inputs'][0]['property']}"],
        }  # fmt: skip
        answers.append(client.post("/_dash-update-component", json=body, headers={"Origin": "http://localhost"}))
    assert {answer.status_code for answer in answers} <= {200, 204}, [(a.status_code, a.request.path) for a in answers]
    return [piece for answer in answers for piece in unpacked(answer.data)]


def _filled(entries: list[dict], values: dict[str, object]) -> list[dict]:
    return [{**entry, "value": values.get(f"{entry['id']}.{entry['property']}")} for entry in entries]
