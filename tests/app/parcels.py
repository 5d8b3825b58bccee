"""Trials as files: made, taken apart and put together again, and another server to bring them to."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from urllib.parse import quote

from asking import OURS, finished, make
from test_store import files_in

from analysis.edits import Edit
from app.carrying import parcel
from app.services import CONFIG_KEY
from app.store import CarriedNote, Store
from app.store.addresses import resolved
from app.store.carried import add_note

TEN = "T10:00:00.000+00:00"
NOTES = (
    CarriedNote(text="chain cleaned <b>before</b>", created_utc=f"2024-05-01{TEN}", changed_utc=f"2024-05-02{TEN}"),
    CarriedNote(text="a truck passed", created_utc=f"2024-05-03{TEN}", changed_utc=f"2024-05-03{TEN}", from_s=12.5, to_s=40.0),
)


def add_notes(store: Store, trial_id: str) -> None:
    with store._database.writing() as connection:
        for note in NOTES:
            add_note(connection, resolved(connection, trial_id), note)


def taken_away(client, trial_id: str):
    return finished(client, f"/trial/{trial_id}/everything.zip")


def bring(client, data: bytes, path: str = "/import", name: str = "everything.zip"):
    return client.post(path, data=data, headers=OURS | {"X-File-Name": quote(name)})


def members_of(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def repacked(members: dict[str, bytes], **changed) -> bytes:
    """The same file with other members, its manifest and checksums put right."""
    left = {name: data for name, data in members.items() if name != parcel.MANIFEST}
    return parcel.write(left, {"program_version": "x"} | changed)


def made_with_history(client, store: Store) -> str:
    """A trial with a history: set up, changed, its blocks edited and frozen, two notes."""
    setup = {"trial": {"title": "Kiln road, “first” go"}, "device": [{"file": "a.line", "label": "hub", "firmware": "3.10"}]}
    trial_id = make(client, b"power 200", b"power 210", b"power 190", setup=setup).get_json()["id"]
    edited = replace(store.trial(trial_id).setup, reference="hub", edits=(Edit(action="split", at_s=60.0, reason="a gate"),))
    store.change_setup(trial_id, edited)
    store.change_setup(trial_id, replace(edited, frozen_hash="ab" * 32, frozen_utc="2024-05-01T09:00:00Z"))
    add_notes(store, trial_id)
    return trial_id


def assert_nothing_kept(elsewhere, tmp_path) -> None:
    assert files_in(tmp_path / "elsewhere" / "recordings") == []
    with elsewhere.server.config[CONFIG_KEY].store._database.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM trial").scalar() == 0
