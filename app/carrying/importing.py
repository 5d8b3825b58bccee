"""A carried trial that was looked at (`opening`) becomes a trial of one's own."""

from __future__ import annotations

import contextlib
import math
from typing import Any

from analysis.reading.packed import kept_id_of
from app.carrying.carried import CarriedTrial
from app.store import NewTrial, Store, StoreProblem


def take_in(store: Store, carried: CarriedTrial) -> NewTrial:
    """Keep it as a trial with keys and links of its own; the caller grants the key.

    Whoever imports did not see this server hide the deltas, so blocks frozen elsewhere are what the set-up says, no witness.
    Raises FullDisk, Busy; then nothing of it is left.
    """
    ids = [kept_id_of(recording) for recording in carried.recordings]
    strange = [kept_id for kept_id in ids if not store.has_recording(kept_id)]
    try:
        pairs = [(store.put_recording(recording), recording.name) for recording in carried.recordings]
        return store.take_in_trial(pairs, carried.versions, blocks_first=carried.deltas_hidden, notes=carried.notes)
    except StoreProblem:
        with contextlib.suppress(StoreProblem):
            store.sweep(among=strange, put_before_s=math.inf)
        raise


def describe(carried: CarriedTrial, name: str) -> dict[str, Any]:
    """What the page says of the file before it is opened."""
    setup = carried.versions[-1][1]
    return {
        "name": name,
        "trial": {
            "title": setup.title,
            "recordings": [recording.name for recording in carried.recordings],
            "versions": len(carried.versions),
            "notes": len(carried.notes),
            "deltas_hidden": carried.deltas_hidden,
        },
    }
