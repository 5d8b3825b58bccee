"""Energy that speed stores between two measuring points: what a device downstream may lack or add while speed changes.

Watts, positive while speed rises (a device further down reads that much less); from the recorded speed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.blocks import Block
from analysis.trial import Trial

# Mass that moves or turns between the points, as if it moved in a straight line: wheel, freehub and a flywheel. An assumption
# for want of a stated one, no source; the rider's own mass is no part of it, because its energy has passed both points.
STORING_MASS_KG = 10.0
# Speed at an edge is the mean over this much on the block's own side. [s]
EDGE_S = 3.0
MIN_LENGTH_S = 5.0


@dataclass(frozen=True, kw_only=True)
class Stored:
    """One block's mean stored power, (mass / 2) (v2^2 - v1^2) / t, with the speeds it rests on."""

    block: str
    kind: str
    from_mps: float
    to_mps: float
    stored_w: float
    mass_kg: float
    label: str


def stored_power_w(mass_kg: float, from_mps: float, to_mps: float, duration_s: float) -> float:
    """Mean power that goes into speed. [W]"""
    return mass_kg * (to_mps**2 - from_mps**2) / (2 * duration_s)


def stored_in_blocks(trial: Trial, blocks: Sequence[Block], *, mass_kg: float = STORING_MASS_KG) -> tuple[Stored, ...]:
    """Stored power of every ridden block, from the first recording that carries speed; empty where none does."""
    label = next((r.label for r in trial.recordings if np.isfinite(r.channels.get("speed_mps", np.nan)).any()), None)
    ridden = [b for b in blocks if b.kind in ("steady", "transient", "free") and b.length_s >= MIN_LENGTH_S]
    if label is None or not ridden:
        return ()
    speed = trial.recording(label).steps("speed_mps")
    start, end = np.array([(b.start_s, b.end_s) for b in ridden]).T
    first, last = speed.means(start, start + EDGE_S), speed.means(end - EDGE_S, end)
    found = zip(ridden, first, last, strict=True)
    return tuple(
        Stored(
            block=b.id, kind=b.kind, from_mps=float(v1), to_mps=float(v2), mass_kg=mass_kg, label=label,
            stored_w=stored_power_w(mass_kg, float(v1), float(v2), b.length_s),
        )
        for b, v1, v2 in found
        if np.isfinite(v1) and np.isfinite(v2)
    )  # fmt: skip
