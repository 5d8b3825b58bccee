"""What comes in as a trial but is none: damaged, forged, or made to do harm. Referees: the store, which stays empty, and the
sentences; `hypothesis` for what nobody thought of."""

from __future__ import annotations

import copy
import io
import json
import zipfile

import numpy as np
import pretend
import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as chosen
from hypothesis import strategies as st
from parcels import assert_nothing_kept, bring, members_of, repacked, taken_away

from analysis.errors import CountercheckError
from analysis.plan import plan_from
from analysis.reading.brought import unpack_brought
from analysis.reading.packed import pack
from app.carrying import parcel
from app.carrying.importing import take_in
from app.carrying.opening import read_trial
from app.settings import Settings
from app.store import Store
from app.views.facts import fact_lines

BROKEN = {
    "cut short": lambda data: data[:-30],
    "bytes behind the end": lambda data: data + b"more",
    "a byte changed": lambda data: data[:2000] + bytes([data[2000] ^ 1]) + data[2001:],
    "empty": lambda data: b"",
    "a zip of other things": lambda data: repacked({"trial.json": b"{}"}),
}


@pytest.mark.parametrize("how", sorted(BROKEN))
def test_a_damaged_file_is_one_sentence_and_leaves_nothing(client, carried_trial, elsewhere, tmp_path, how):
    answer = bring(elsewhere.server.test_client(), BROKEN[how](taken_away(client, carried_trial).data))
    assert answer.status_code == 422
    assert answer.get_json()["error"].startswith("everything.zip")
    assert_nothing_kept(elsewhere, tmp_path)


def test_a_wrong_checksum_names_its_member(client, carried_trial, elsewhere):
    members = members_of(taken_away(client, carried_trial).data)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data.replace(b"Kiln road", b"Mill road") if name == "trial.json" else data)
    answer = bring(elsewhere.server.test_client(), out.getvalue())
    assert "trial.json is not as it was written (its checksum differs)" in answer.get_json()["error"]


def test_a_newer_format_asks_for_an_update(client, carried_trial, elsewhere):
    members = members_of(taken_away(client, carried_trial).data)
    answer = bring(elsewhere.server.test_client(), repacked(members, format_version=parcel.FORMAT_VERSION + 1))
    assert "written by a newer countercheck" in answer.get_json()["error"]


def _zip(entries, **options) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", **options) as archive:
        for entry, data in entries:
            archive.writestr(entry, data)
    return out.getvalue()


def _link(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name)
    entry.external_attr = 0o120777 << 16
    return entry


TRICKS = {
    "a name that climbs out": (lambda m: _zip([*m.items(), ("../../etc/passwd", b"x")]), "no part of a trial"),
    "a stranger among the members": (lambda m: _zip([*m.items(), ("notes.txt", b"x")]), "no part of a trial"),
    "a symlink": (lambda m: _zip([(_link(n) if n == "result.json" else n, d) for n, d in m.items()]), "no part of a trial"),
    "too many members": (lambda m: _zip([*m.items(), *((f"recordings/{i:064x}.zip", b"") for i in range(40))]), "not a trial"),
    "a thousandfold": (lambda m: _zip([(n, b" " * 20_000_000 if n == "result.json" else d) for n, d in m.items()],
                                      compression=zipfile.ZIP_DEFLATED), "unpacks to more than"),
    "another packing": (lambda m: _zip(m.items(), compression=zipfile.ZIP_LZMA), "packed in another way"),
    "without a manifest": (lambda m: _zip([(n, d) for n, d in m.items() if n != "manifest.json"]), "not"),
    "a list too long": (lambda m: _zip([*m.items(), *((f"x{i}" + 200 * "y", b"") for i in range(400))]), "lists more than"),
}  # fmt: skip


@pytest.mark.parametrize("trick", sorted(TRICKS))
def test_a_zip_made_to_do_harm_is_refused(client, carried_trial, elsewhere, tmp_path, trick):
    build, words = TRICKS[trick]
    answer = bring(elsewhere.server.test_client(), build(members_of(taken_away(client, carried_trial).data)))
    assert answer.status_code == 422
    assert words in answer.get_json()["error"]
    assert_nothing_kept(elsewhere, tmp_path)


def test_two_members_of_one_name_are_refused(client, carried_trial, elsewhere):
    members = members_of(taken_away(client, carried_trial).data)
    with pytest.warns(UserWarning, match="Duplicate name"):
        data = _zip([*members.items(), ("trial.json", b"{}")])
    assert "two members of one name" in bring(elsewhere.server.test_client(), data).get_json()["error"]


def test_a_locked_member_is_refused(client, carried_trial, elsewhere):
    data = bytearray(_zip(members_of(taken_away(client, carried_trial).data).items()))
    listed_from = int.from_bytes(data[-6:-2], "little")
    for flags in (6, listed_from + 8):
        data[flags] |= 1
    assert "locked" in bring(elsewhere.server.test_client(), bytes(data)).get_json()["error"]


def with_tree(members: dict[str, bytes], change) -> bytes:
    tree = json.loads(members["trial.json"])
    change(tree)
    return repacked(members | {"trial.json": json.dumps(tree).encode()})


CLAIMS = {
    "an unknown key": (lambda t: t.update(owner="me"), "nothing else"),
    "a set-up with an unknown key": (lambda t: t["history"][0]["setup"].update(magic=1), "unknown key magic"),
    "a set-up out of range": (lambda t: t["history"][1]["setup"]["drivetrain"].update(loss_pct=[1, 900]), "loss_pct"),
    "no history": (lambda t: t.update(history=[]), "history"),
    "a version left out": (lambda t: t["history"].pop(1), "history, version 2"),
    "a time that is none": (lambda t: t["history"][0].update(created_utc="yesterday"), "history"),
    "a note without an end": (lambda t: t["notes"][1].pop("to_s"), "notes[1]"),
    "a note without words": (lambda t: t["notes"][0].update(text="  "), "notes[0].text"),
    "a name with a folder": (lambda t: t["recordings"][0].update(name="../a.line"), "recordings.name"),
    "one recording": (lambda t: t.update(recordings=t["recordings"][:1]), "at least two"),
    "a recording that is not there": (lambda t: t["recordings"][0].update(kept="0" * 64), "exactly the recordings"),
    "one recording twice": (lambda t: t["recordings"][1].update(kept=t["recordings"][0]["kept"]), "twice"),
    "half a character": (lambda t: t["notes"][0].update(text="\ud800"), "not the JSON"),
    "a number beyond all": (lambda t: t["notes"][1].update(to_s=float("inf")), "not the JSON"),
}


@pytest.mark.parametrize("claim", sorted(CLAIMS))
def test_what_the_file_says_is_looked_at_before_anything_is_kept(client, carried_trial, elsewhere, tmp_path, claim):
    change, words = CLAIMS[claim]
    data = with_tree(members_of(taken_away(client, carried_trial).data), change)
    answer = bring(elsewhere.server.test_client(), data)
    assert answer.status_code == 422
    assert words in answer.get_json()["error"]
    assert_nothing_kept(elsewhere, tmp_path)


def test_a_recording_that_no_file_could_give_is_refused(client, carried_trial, elsewhere, tmp_path):
    members = members_of(taken_away(client, carried_trial).data)
    tree = json.loads(members["trial.json"])
    place = f"recordings/{tree['recordings'][0]['kept']}.zip"
    forged = pretend.recording(b"power 1", "x")
    forged.samples["time_s"] = np.r_[forged.samples["time_s"][1:], 0.0]
    answer = bring(elsewhere.server.test_client(), repacked(members | {place: pack(forged)}))
    assert answer.status_code == 422
    assert "a.line" in answer.get_json()["error"]
    assert "stamps do not ascend" in answer.get_json()["error"]
    assert_nothing_kept(elsewhere, tmp_path)


# What JSON can be, in small; keys and values that the reader knows turn up among them.
LEAVES = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.sampled_from(
    ["move-edge", "pedal", "a.line", "2024-05-01T10:00:00+00:00", "ab" * 32, -1, 10**400, "\ud800", "x" * 3000]
)  # fmt: skip
TREES = st.recursive(
    LEAVES, lambda some: st.lists(some, max_size=3) | st.dictionaries(st.text(max_size=6), some, max_size=3), max_leaves=6
)
OFTEN = chosen(max_examples=150, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))


@pytest.fixture
def empty(tmp_path):
    """A store that nothing was put into."""
    opened = Store(Settings.from_environment(data_dir=tmp_path / "empty", environ={}))
    yield opened
    opened.close()


@pytest.fixture
def sound(client, carried_trial) -> dict[str, bytes]:
    return members_of(taken_away(client, carried_trial).data)


def places_in(tree, path=()):
    """Every place in a tree of JSON."""
    yield path
    for key, value in tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ():
        yield from places_in(value, (*path, key))


def grafted(tree, path, graft):
    """The tree with something else in one place."""
    if not path:
        return graft
    out = copy.copy(tree)
    out[path[0]] = grafted(tree[path[0]], path[1:], graft)
    return out


def some_place(draw, tree):
    return draw(st.sampled_from(sorted(places_in(tree), key=str)))


def refused_or_whole(store: Store, data: bytes) -> None:
    """The promise: one sentence and an untouched store, or a whole trial."""
    before = sorted(store._blobs.names())
    try:
        new = take_in(store, read_trial(data, name="mine.zip", max_files=24))
    except CountercheckError as problem:
        assert "\n" not in str(problem)
        assert sorted(store._blobs.names()) == before
        with store._database.reading() as connection:
            assert connection.exec_driver_sql("SELECT count(*) FROM trial").scalar() == 0
        return
    trial = store.trial(new.trial_id)
    assert all(store.recording(*pair).channels for pair in trial.recordings)
    assert len(store.history(new.trial_id)) == trial.setup_version
    with store._database.writing() as connection:
        connection.exec_driver_sql("DELETE FROM trial")


@OFTEN
@given(data=st.data())
def test_whatever_happens_to_its_bytes(empty, sound, data):
    whole = repacked(sound)
    at = st.integers(0, len(whole) - 1)
    damage = data.draw(st.sampled_from(["cut", "changed", "gone", "doubled", "filled"]))
    a, b = sorted((data.draw(at), data.draw(at)))
    if damage == "changed":
        out = bytearray(whole)
        for place in data.draw(st.lists(at | st.integers(len(whole) - 900, len(whole) - 1), min_size=1, max_size=8)):
            out[place] = data.draw(st.integers(0, 255))
        whole = bytes(out)
    else:
        whole = {"cut": whole[:a], "gone": whole[:a] + whole[b:], "doubled": whole[:b] + whole[a:],
                 "filled": whole[:a] + bytes(b - a) + whole[b:]}[damage]  # fmt: skip
    refused_or_whole(empty, whole)


@OFTEN
@given(data=st.data())
def test_whatever_its_texts_say(empty, sound, data):
    tree = json.loads(sound["trial.json"])
    changed = grafted(tree, some_place(data.draw, tree), data.draw(TREES))
    text = json.dumps(changed, allow_nan=True).encode()
    refused_or_whole(empty, repacked(sound | {"trial.json": text}))


@OFTEN
@given(data=st.data())
def test_whatever_its_manifest_says(empty, sound, data):
    manifest = json.loads(parcel_manifest(sound))
    changed = grafted(manifest, some_place(data.draw, manifest), data.draw(TREES))
    refused_or_whole(empty, _zip((sound | {parcel.MANIFEST: json.dumps(changed, allow_nan=True).encode()}).items()))


def parcel_manifest(members: dict[str, bytes]) -> bytes:
    return members_of(repacked(members))[parcel.MANIFEST]


RICH = {
    "sensors": [{"type": "bike_power", "device_type": 11, "firmware": 3.1, "battery_last_v": 3.0, "serial_hash": "ab"}],
    "laps": [{"start_s": 0.0, "duration_s": 60.0, "mean_w": 200.0, "trigger": "manual"}] * 3,
    "workout": [{"duration_s": 60.0, "low_w": 100.0, "high_w": 110.0}], "timer_stops": [[10.0, 20.0]],
    "calibrations": [{"at_s": 5.0, "value": 3}], "settings": {"crank_length_mm": 172.5}, "ride": {"mean_w": 200.0},
    "recorder": {"maker_name": "kiln", "firmware": 2}, "parts": 1, "clock": {"repeated": 0, "backward": 0},
    "health": [{"code": "rate", "count": 1, "first_s": 3.0, "text": "One; first at 0:03.", "notable": True}],
}  # fmt: skip


@OFTEN
@given(data=st.data())
def test_whatever_a_recording_says_of_itself_the_page_can_tell_or_it_is_refused(data):
    recording = pretend.recording(b"power 200", "a.line")
    recording.facts.update(copy.deepcopy(RICH))
    inner = members_of(pack(recording))
    about = json.loads(inner["recording.json"])
    changed = grafted(about, some_place(data.draw, about), data.draw(TREES))
    text = json.dumps(changed, allow_nan=True, ensure_ascii=data.draw(st.booleans()), separators=(",", ":"))
    try:
        found = unpack_brought(_like_packed(inner | {"recording.json": text.encode(errors="surrogatepass")}), name="a.line")
    except CountercheckError as problem:
        assert "\n" not in str(problem)
        return
    fact_lines(found.facts, 12.0)
    plan_from(found.facts)
    assert (np.diff(found.samples["time_s"]) > 0).all()
    assert found.start_utc is None or len(found.start_utc) == 20


@OFTEN
@given(data=st.data())
def test_whatever_happens_to_the_bytes_of_a_recording(data):
    whole = bytearray(pack(pretend.recording(b"power 200", "a.line")))
    for _ in range(data.draw(st.integers(1, 6))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    length = data.draw(st.integers(0, len(whole)) | st.just(len(whole)))
    try:
        found = unpack_brought(bytes(whole[:length]), name="a.line")
    except CountercheckError as problem:
        assert "\n" not in str(problem)
    else:
        assert found.duration_s > 0


def _like_packed(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in members.items():
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            entry.create_system = 3
            archive.writestr(entry, content)
    return out.getvalue()
