"""The plain protocol between the server and a child that reads: one line of JSON, then as many bytes as it says in `size`.

No pickle: what a child sends back is text and a packed recording, and a child that was taken over can send nothing else.
"""

from __future__ import annotations

import json
from typing import Any, BinaryIO

# A line of facts and warnings stays far below; more is no frame of ours.
MAX_LINE = 2**20
# A recording as packed: every channel of the largest one takes some 50 MB.
MAX_BODY = 512 * 2**20


class BrokenFrame(Exception):
    """The other end is gone, or sends what is no frame."""


def write(stream: BinaryIO, about: dict[str, Any], body: bytes = b"") -> None:
    """Send one frame. Raises OSError where the other end is gone."""
    stream.write(json.dumps({**about, "size": len(body)}).encode() + b"\n")
    stream.write(body)
    stream.flush()


def read(stream: BinaryIO) -> tuple[dict[str, Any], bytes]:
    """Receive one frame. Raises BrokenFrame."""
    line = stream.readline(MAX_LINE)
    try:
        about = json.loads(line)
        size = about["size"]
    except (ValueError, TypeError, KeyError, RecursionError):
        raise BrokenFrame("no frame") from None
    if not isinstance(size, int) or not 0 <= size <= MAX_BODY:
        raise BrokenFrame("no frame")
    body = stream.read(size) if size else b""
    if len(body) != size:
        raise BrokenFrame("half a frame")
    return about, body
