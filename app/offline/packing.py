"""Numbers and markup as text that a page can hold: base64 of little-endian values, each as short as keeps it exactly."""

from __future__ import annotations

import base64
import zlib
from typing import Any

import numpy as np

# What whole numbers stand for nothing recorded, by width; a channel that uses it takes the next width.
NOTHING = {"u1": 255, "i2": -32768}
# Channels that count in halves, tenths or hundredths of their unit: dividing the whole number gives the very value back.
SHARES = (1, 2, 10, 100, 200, 1000, 10000)


def packed(values: Any) -> dict[str, Any]:
    """`{"<type>": base64, "per": n}`: value = number / per, without `per` the number itself; NaN for nothing recorded.

    Types: u1, i2, f4, f8; `assets/offline/10-alone.js` reads them.
    """
    exact = np.asarray(values, "<f8")
    there = np.isfinite(exact)
    for per in SHARES:
        whole = np.round(exact[there] * per)
        if not np.array_equal(whole / per, exact[there]):
            continue
        for kind, nothing in NOTHING.items():
            limits = np.iinfo(kind)
            if not whole.size or (whole.min() >= limits.min and whole.max() <= limits.max and not np.any(whole == nothing)):
                out = np.full(exact.size, nothing, f"<{kind}")
                out[there] = whole.astype(out.dtype)
                return {kind: _text(out)} | ({"per": per} if per > 1 else {})
    short = exact.astype("<f4")
    fits = np.array_equal(short.astype("<f8"), exact, equal_nan=True)
    return {"f4" if fits else "f8": _text(short if fits else exact)}


def deflated(text: str) -> str:
    """Text as base64 of a zlib stream, which browsers inflate by themselves."""
    return base64.b64encode(zlib.compress(text.encode(), 9)).decode()


def _text(values: np.ndarray) -> str:
    return base64.b64encode(values.tobytes()).decode()
