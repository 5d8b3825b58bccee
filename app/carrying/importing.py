"""From the file's bytes to a trial of one's own: everything is looked at before anything is kept."""

from __future__ import annotations

import contextlib
import math
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from analysis.errors import NotOneRide, SameRecording
from analysis.reading.brought import unpack_brought
from analysis.reading.packed import kept_id_of
from analysis.reading.recording import Recording
from analysis.setup import Setup, setup_from_dict
from app.carrying import parcel
from app.carrying.parcel import BadParcel
from app.intake import check_usable, unique_names
from app.store import CarriedNote, NewTrial, Store, StoreProblem

TRIAL_KEYS = {"blocks_first", "recordings", "history", "notes"}
NOTE_KEYS = {"text", "created_utc", "changed_utc", "from_s", "to_s"}
# Far beyond what a person changes or writes on one trial.
MAX_VERSIONS, MAX_NOTES, MAX_NOTE_CHARS = 20_000, 10_000, 20_000
MAX_TIME_S = 1e8  # as in addresses
# One file may unpack to MAX_UPLOAD_BYTES; at most one of them is open in a process.
_IN_TURN = threading.Lock()


@dataclass(frozen=True, kw_only=True)
class CarriedTrial:
    """A whole trial, checked, not yet kept; `versions` are (UTC, set-up), oldest first."""

    recordings: tuple[Recording, ...]
    versions: tuple[tuple[str, Setup], ...]
    blocks_first: bool
    notes: tuple[CarriedNote, ...]

    @property
    def deltas_hidden(self) -> bool:
        """Whether the deltas were hidden where it comes from, so that they stay hidden here."""
        return self.blocks_first and self.versions[-1][1].frozen_hash is None


def read_trial(data: bytes, *, name: str, max_files: int) -> CarriedTrial:
    """What the file holds. Raises CountercheckError kinds, one sentence that names the file; nothing is kept."""
    with _IN_TURN:
        return _read(data, name, max_files)


def _read(data: bytes, name: str, max_files: int) -> CarriedTrial:
    opened = parcel.read(data, name=name)
    tree = _keys(parcel.tree_of(opened.members[parcel.TRIAL], parcel.TRIAL, name), TRIAL_KEYS, "", name)
    if type(tree["blocks_first"]) is not bool:
        raise _bad(name, "blocks_first")
    recordings = _recordings(tree["recordings"], opened.members, name, max_files)
    history = _list(tree["history"], "history", name, MAX_VERSIONS)
    if not history:
        raise _bad(name, "history")
    return CarriedTrial(
        recordings=recordings,
        versions=tuple(_version(entry, i, name) for i, entry in enumerate(history, start=1)),
        blocks_first=tree["blocks_first"],
        notes=tuple(_note(entry, i, name) for i, entry in enumerate(_list(tree["notes"], "notes", name, MAX_NOTES))),
    )


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


def _recordings(value: Any, members: Mapping[str, bytes], name: str, max_files: int) -> tuple[Recording, ...]:
    entries = [_keys(e, {"name", "kept"}, "recordings.", name) for e in _list(value, "recordings", name, max_files)]
    if not all(isinstance(e["name"], str) and isinstance(e["kept"], str) for e in entries):
        raise _bad(name, "recordings")
    if len(entries) < 2:
        raise NotOneRide(f"{name} holds fewer than two recordings; a comparison needs at least two.")
    places = [f"recordings/{e['kept']}.zip" for e in entries]
    if len(set(places)) != len(places):
        raise SameRecording(f"{name} names one recording twice; a device cannot be its own referee.")
    if sorted(places) != sorted(member for member in members if parcel.RECORDING.fullmatch(member)):
        raise BadParcel(f"{name} does not hold exactly the recordings that it names; give the unchanged file.")
    names = [e["name"] for e in entries]
    if unique_names(names) != names:
        raise _bad(name, "recordings.name")
    found = [check_usable(unpack_brought(members[place], name=own)) for place, own in zip(places, names, strict=True)]
    hashes = [recording.sha256 for recording in found]
    if len(set(hashes)) != len(hashes) or len(set(map(kept_id_of, found))) != len(found):
        raise SameRecording(f"{name} holds one recording twice; a device cannot be its own referee.")
    return tuple(found)


def _version(entry: Any, number: int, name: str) -> tuple[str, Setup]:
    tree = _keys(entry, {"version", "created_utc", "setup"}, "history.", name)
    if type(tree["version"]) is not int or tree["version"] != number or not isinstance(tree["setup"], dict):
        raise _bad(name, f"history, version {number}")
    return _utc(tree["created_utc"], "history", name), setup_from_dict(tree["setup"], name=f"{name}, set-up {number}")


def _note(entry: Any, index: int, name: str) -> CarriedNote:
    where = f"notes[{index}]."
    if not isinstance(entry, dict) or not {"text", "created_utc", "changed_utc"} <= set(entry) <= NOTE_KEYS:
        raise _bad(name, where[:-1])
    text, edges = entry["text"], [entry.get(key) for key in ("from_s", "to_s")]
    if not isinstance(text, str) or not text.strip() or len(text) > MAX_NOTE_CHARS:
        raise _bad(name, f"{where}text")
    if edges != [None, None] and not (all(map(_seconds, edges)) and edges[0] <= edges[1]):
        raise _bad(name, f"{where}from_s, {where}to_s")
    from_s, to_s = (None if edge is None else float(edge) for edge in edges)
    times = [_utc(entry[key], f"{where}{key}", name) for key in ("created_utc", "changed_utc")]
    return CarriedNote(text=text, created_utc=times[0], changed_utc=times[1], from_s=from_s, to_s=to_s)


def _utc(value: Any, where: str, name: str) -> str:
    try:
        if isinstance(value, str) and len(value) <= 32 and datetime.fromisoformat(value).tzinfo is not None:
            return value
    except ValueError:
        pass
    raise _bad(name, where)


def _seconds(value: Any) -> bool:
    return type(value) in (int, float) and math.isfinite(value) and abs(value) <= MAX_TIME_S


def _list(value: Any, where: str, name: str, most: int) -> list[Any]:
    if not isinstance(value, list) or len(value) > most:
        raise BadParcel(f"{name}: {where} in {parcel.TRIAL} must be a list of at most {most} entries; give the unchanged file.")
    return value


def _keys(tree: Any, known: set[str], where: str, name: str) -> dict[str, Any]:
    """An object with exactly these keys: a key that this program does not know would be lost without a word."""
    if not isinstance(tree, dict) or set(tree) != known:
        names = ", ".join(sorted(known))
        raise BadParcel(f"{name}: {where}{parcel.TRIAL} must hold {names} and nothing else; give the unchanged file.")
    return tree


def _bad(name: str, where: str) -> BadParcel:
    return BadParcel(f"{name}: {where} in {parcel.TRIAL} is not as countercheck writes it; give the unchanged file.")
