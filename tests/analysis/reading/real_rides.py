"""Where the real recordings are and what independent decoders found in them."""

from __future__ import annotations

import json
from pathlib import Path

RIDES = Path(__file__).resolve().parents[3].parent / "shared" / "rides"


def expected_files() -> dict[str, dict]:
    """Values on which independent decoders agree, per file; empty where the folder is absent."""
    source = RIDES / "expected.json"
    return json.loads(source.read_text())["files"] if source.exists() else {}
