"""Scripts and styles: addressed by their content, compressed once, and kept by browsers for as long as they like.

Dash puts a file's time of change into its address, which is the same in every wheel; a hash of the content is not.
"""

from __future__ import annotations

import gzip
import hashlib
import re
from functools import lru_cache
from pathlib import Path

import flask

from app.places import assets_dir

KEPT = ("/assets/", "/_dash-component-suites/")
YEAR_S = 365 * 86400
DAY_S = 86400
HASH_CHARS = 16
MIN_BYTES = 500  # a smaller file grows by being packed
MAX_PACKED = 128  # files, some thirty are served
PACKABLE = frozenset({"text/javascript", "application/javascript", "text/css"})
FAVICON = "/assets/favicon.ico"
_STAMPED = re.compile(r'(["\'])(/assets/[^"\'?]+)\?m=[\d.]+\1')


def register(server: flask.Flask) -> None:
    """Answer for scripts and styles before anything else compresses them; call after Dash was given the server."""
    packed: dict[tuple[str, str], bytes] = {}

    def kept(response: flask.Response) -> flask.Response:
        request = flask.request
        if not request.path.startswith(KEPT) or response.status_code != 200:
            return response
        _say_how_long(response, request)
        if response.mimetype in PACKABLE and request.accept_encodings["gzip"] > 0:
            _pack(response, request, packed)
        return response

    server.after_request(kept)


def with_hashes(page: str) -> str:
    """The page's HTML with each asset addressed by a hash of its content in place of its time of change."""
    return _STAMPED.sub(lambda found: f"{found[1]}{addressed(found[2])}{found[1]}", page)


def addressed(path: str) -> str:
    """`/assets/x.js` -> `/assets/x.js?h=...`; as it is where there is no such file."""
    stamp = _hash_of(path)
    return path if stamp is None else f"{path}?h={stamp}"


def _hash_of(path: str) -> str | None:
    file = assets_dir() / path.removeprefix("/assets/")
    try:
        return _hashed(file, file.stat().st_mtime_ns)
    except OSError:
        return None


@lru_cache(maxsize=256)
def _hashed(file: Path, _changed_ns: int) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()[:HASH_CHARS]


def _say_how_long(response: flask.Response, request: flask.Request) -> None:
    asked = request.args.get("h")
    if asked and asked == _hash_of(request.path):
        response.headers["Cache-Control"] = f"public, max-age={YEAR_S}, immutable"
    elif request.path == FAVICON:
        # browsers ask for it again at every change of the address
        response.headers["Cache-Control"] = f"public, max-age={DAY_S}"


def _pack(response: flask.Response, request: flask.Request, packed: dict[tuple[str, str], bytes]) -> None:
    response.direct_passthrough = False
    data = response.get_data()
    if len(data) < MIN_BYTES or "Content-Encoding" in response.headers:
        return
    key = (request.path, hashlib.sha256(data).hexdigest())
    if key not in packed:
        if len(packed) >= MAX_PACKED:
            packed.clear()
        packed[key] = gzip.compress(data, 9, mtime=0)
    tag, weak = response.get_etag()
    response.set_data(packed[key])
    response.headers["Content-Encoding"] = "gzip"
    response.vary.add("Accept-Encoding")
    if tag:
        response.set_etag(f"{tag}:gzip", weak=weak)
        response.make_conditional(request)
