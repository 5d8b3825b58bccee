"""Everything of one trial as bytes: recordings as kept, all versions of the set-up, notes, the result where it may be seen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from app.carrying import parcel
from app.store import Store, StoredTrial


def everything_of(store: Store, stored: StoredTrial, result: Mapping[str, Any] | None, *, analysis_version: str) -> bytes:
    """The file for its owner to take away; the same trial gives the same bytes.

    No key, no link and no address of the trial is in it. `result` is the JSON tree of its present set-up, None while there is
    none or its deltas are hidden. Raises MissingBlob or DamagedBlob, naming the recording.
    """
    recordings = [store.kept_bytes(kept_id, name) for kept_id, name in stored.recordings]
    about = {
        "program_version": program_version(),
        "analysis_version": analysis_version,
        "result": "hidden until the blocks are frozen" if stored.deltas_hidden else "there" if result else "could not be made",
    }
    members = {parcel.TRIAL: parcel.json_bytes(_trial(store, stored))}
    members |= {f"recordings/{kept_id}.zip": data for (kept_id, _), data in zip(stored.recordings, recordings, strict=True)}
    if result is not None and not stored.deltas_hidden:
        members[parcel.RESULT] = parcel.json_bytes(result)
    return parcel.write(members, about)


def program_version() -> str:
    """Of this installation; "unknown" where it runs without having been installed."""
    try:
        return version("countercheck")
    except PackageNotFoundError:
        return "unknown"


def _trial(store: Store, stored: StoredTrial) -> dict[str, Any]:
    versions = [v for v in store.history(stored.trial_id) if v.version <= stored.setup_version]
    return {
        "blocks_first": stored.blocks_first,
        "recordings": [{"name": name, "kept": kept_id} for kept_id, name in stored.recordings],
        "history": [{"version": v.version, "created_utc": v.created_utc, "setup": v.setup.to_dict()} for v in versions],
        "notes": [{k: v for k, v in asdict(note).items() if v is not None} for note in store.notes_to_carry(stored.trial_id)],
    }
