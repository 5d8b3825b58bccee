"""From the file's bytes to a trial that was looked at all over. Pure: knows no store, so that a child process can do it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

from analysis.errors import NotOneRide, SameRecording
from analysis.reading.brought import unpack_brought
from analysis.reading.packed import kept_id_of
from analysis.reading.recording import Recording
from analysis.setup import Setup, setup_from_dict
from app.carrying import parcel
from app.carrying.carried import CarriedNote, CarriedTrial
from app.carrying.parcel import BadParcel
from app.intake import check_usable, unique_names

REST_KEYS = {"blocks_first", "history", "notes"}
TRIAL_KEYS = REST_KEYS | {"recordings"}
NOTE_KEYS = {"text", "created_utc", "changed_utc", "from_s", "to_s"}
# Far beyond what a person changes or writes on one trial.
MAX_VERSIONS, MAX_NOTES, MAX_NOTE_CHARS = 20_000, 10_000, 20_000
MAX_TIME_S = 1e8  # as in addresses


def read_trial(data: bytes, *, name: str, max_files: int) -> CarriedTrial:
    """What the file holds. Raises CountercheckError kinds, one sentence that names the file; nothing is kept.

    A server has it read by a child process, `Reader.read_trial`, because whoever made the file may mean harm.
    """
    opened = parcel.read(data, name=name)
    tree = _keys(parcel.tree_of(opened.members[parcel.TRIAL], parcel.TRIAL, name), TRIAL_KEYS, "", name)
    recordings = _recordings(tree["recordings"], opened.members, name, max_files)
    return _checked({key: tree[key] for key in REST_KEYS}, recordings, name)


def rest_of(carried: CarriedTrial) -> bytes:
    """All of it but the recordings, as `with_rest` reads it back."""
    history = [
        {"version": i, "created_utc": utc, "setup": setup.to_dict()} for i, (utc, setup) in enumerate(carried.versions, start=1)
    ]
    notes = [{k: v for k, v in asdict(note).items() if v is not None} for note in carried.notes]
    return parcel.json_bytes({"blocks_first": carried.blocks_first, "history": history, "notes": notes})


def with_rest(recordings: tuple[Recording, ...], rest: bytes, name: str) -> CarriedTrial:
    """The trial of these recordings; `rest` is looked at as closely as a file is. Raises BadParcel, BadSetup."""
    return _checked(_keys(parcel.tree_of(rest, parcel.TRIAL, name), REST_KEYS, "", name), recordings, name)


def _checked(tree: Mapping[str, Any], recordings: tuple[Recording, ...], name: str) -> CarriedTrial:
    if type(tree["blocks_first"]) is not bool:
        raise _bad(name, "blocks_first")
    history = _list(tree["history"], "history", name, MAX_VERSIONS)
    if not history:
        raise _bad(name, "history")
    return CarriedTrial(
        recordings=recordings,
        versions=tuple(_version(entry, i, name) for i, entry in enumerate(history, start=1)),
        blocks_first=tree["blocks_first"],
        notes=tuple(_note(entry, i, name) for i, entry in enumerate(_list(tree["notes"], "notes", name, MAX_NOTES))),
    )


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
