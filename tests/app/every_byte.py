"""Every byte that a server keeps and serves, also what is packed inside it, for tests that search it."""

from __future__ import annotations

import base64
import binascii
import io
import json
import re
import sqlite3
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

BASE64 = re.compile(rb"[A-Za-z0-9+/]{40,}={0,2}")
GZIP, ZLIB = re.compile(rb"\x1f\x8b\x08"), re.compile(rb"\x78[\x01\x5e\x9c\xda]")
DEEPEST = 4
MATCHED = '["MATCH"]'  # how Dash writes "any one of them" into an id


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


def served_bytes(client, paths: list[str], values: dict[str, object], indices: list[str]) -> list[bytes]:
    """Every answer a reader can get: these addresses, Dash's own, and every callback, fed from `values` ("id.property").

    A callback that serves many components alike is asked once for each of `indices`.
    """
    answers = [client.get(path) for path in ("/", *paths, "/_dash-layout", "/_dash-dependencies")]
    for spec in client.get("/_dash-dependencies").get_json():
        if spec.get("clientside_function"):
            continue
        for index in indices if MATCHED in spec["output"] else [""]:
            body = _body(spec, values, index)
            answers.append(client.post("/_dash-update-component", json=body, headers={"Origin": "http://localhost"}))
    assert {answer.status_code for answer in answers} <= {200, 204}, [(a.status_code, a.request.path) for a in answers]
    return [piece for answer in answers for piece in unpacked(answer.data)]


def _body(spec: dict, values: dict[str, object], index: str) -> dict:
    """What the browser's part of Dash sends for this callback, of the component at `index` where there are many."""

    def filled(entry: dict) -> dict:
        if "{" not in entry["id"]:
            return {**entry, "value": values.get(f"{entry['id']}.{entry['property']}")}
        id_ = json.loads(entry["id"].replace(MATCHED, json.dumps(index)))
        return {"id": id_, "property": entry["property"], "value": id_ if entry["property"] == "id" else 1}

    outputs = []
    for part in re.sub(r"@[0-9a-f]+", "", spec["output"]).strip(".").split("..."):
        id_, property_ = part.rsplit(".", 1)
        id_ = json.loads(id_.replace(MATCHED, json.dumps(index))) if "{" in id_ else id_
        outputs.append({"id": id_, "property": property_})
    return {
        "output": spec["output"],
        "outputs": outputs if spec["output"].startswith("..") else outputs[0],
        "inputs": [filled(entry) for entry in spec["inputs"]], "state": [filled(entry) for entry in spec["state"]],
        "changedPropIds": [f"{spec['inputs'][0]['id'].replace(MATCHED, json.dumps(index))}.{spec['inputs'][0]['property']}"],
    }  # fmt: skip
