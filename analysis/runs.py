"""Where a mask is true: the one way in which every room finds its runs."""

from __future__ import annotations

import numpy as np


def runs(mask: np.ndarray) -> list[tuple[int, int]]:
    """Half-open index ranges [first, last) in which a boolean array of shape (n,) is true, in order."""
    step = np.diff(np.concatenate(([0], mask.astype(np.int8), [0])))
    return list(zip(np.flatnonzero(step == 1).tolist(), np.flatnonzero(step == -1).tolist(), strict=True))


def runs_at_least(mask: np.ndarray, length: int) -> np.ndarray:
    """The mask without its runs shorter than `length`."""
    out = np.zeros(mask.size, bool)
    for first, last in runs(mask):
        out[first:last] = last - first >= length
    return out
