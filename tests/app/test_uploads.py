"""Files sent to the page. Referees: what was kept, the one sentence, and the Fetch rules on who may send."""

from __future__ import annotations

import gzip
import hashlib
import io
import zipfile

import pretend
import pytest
from asking import OURS, send


def test_an_upload_says_what_it_holds_and_guesses_the_rest(client, services):
    answer = send(client, b"power 200", "2026-01-17 rear hub é.line")
    about = answer.get_json()
    assert answer.status_code == 200
    assert about["sha256"] == hashlib.sha256(b"power 200").hexdigest()
    assert about["name"] == "2026-01-17 rear hub é.line"
    assert (about["point_guess"], about["firmware_guess"], about["samples"]) == ("hub", "3.1", 120)
    assert "hub" in about["label_guess"]
    assert about["start_utc"] == "2023-11-14T22:13:20Z"
    assert about["duration_s"] == 119.0
    assert services.store.recording(about["id"], "hub.line").sha256 == about["sha256"]


def test_an_upload_in_a_form_is_taken_too(client):
    form = {"file": (io.BytesIO(b"power 200"), "hub.line")}
    answer = client.post("/upload", data=form, headers=OURS, content_type="multipart/form-data")
    assert (answer.status_code, answer.get_json()["name"]) == (200, "hub.line")


@pytest.mark.parametrize(("data", "word"), [(b"", "empty"), (b"\x00\xff noise", "not a recording"), (b"silent 5", "no power")])
def test_a_bad_file_is_one_sentence_that_names_it_and_is_not_kept(client, settings, data, word):
    answer = send(client, data, "odd.line")
    told = answer.get_json()
    assert answer.status_code == 422
    assert told["name"] == "odd.line"
    assert "odd.line" in told["error"]
    assert word in told["error"]
    assert "\n" not in told["error"]
    assert not [p for p in (settings.data_dir / "recordings").rglob("*") if p.is_file()]


def zipped(files: dict[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return stream.getvalue()


def test_an_archive_is_answered_file_by_file_and_a_bad_one_costs_only_itself(client, services):
    files = {
        "evening/hub.line": b"power 200", "evening/notes.txt": b"remember the torque", "evening/left pedal.line.gz":
        gzip.compress(b"power 205"), "evening/strap.line": b"silent 5", "evening/empty.line": b"",
    }  # fmt: skip
    answer = send(client, zipped(files), "evening.zip")
    told = answer.get_json()
    assert answer.status_code == 200
    assert [r["name"] for r in told["recordings"]] == ["hub.line", "left pedal.line.gz"]
    assert [r["point_guess"] for r in told["recordings"]] == ["hub", "pedal"]
    assert told["recordings"][1]["sha256"] == hashlib.sha256(b"power 205").hexdigest()
    assert [e["name"] for e in told["errors"]] == ["notes.txt", "strap.line", "empty.line"]
    assert all(e["name"] in e["error"] for e in told["errors"])
    body = {"recordings": [{"id": r["id"], "name": r["name"]} for r in told["recordings"]]}
    assert client.post("/trials", json=body, headers=OURS).status_code == 201


def test_an_archive_of_one_is_answered_like_the_file(client):
    plain, packed = send(client, b"power 200", "hub.line"), send(client, zipped({"hub.line": b"power 200"}), "rides.zip")
    gz = send(client, gzip.compress(b"power 200"), "hub.line")
    assert plain.get_json() == packed.get_json() == gz.get_json()


def test_an_archive_without_a_recording_is_refused(client, settings):
    answer = send(client, zipped({"a.txt": b"a", "b.txt": b"b"}), "notes.zip")
    assert answer.status_code == 422
    assert (answer.get_json()["recordings"], len(answer.get_json()["errors"])) == ([], 2)
    assert not [p for p in (settings.data_dir / "recordings").rglob("*") if p.is_file()]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"PK\x03\x04 no archive", "damaged zip"),
        (zipped({f"{i}.line": b"power 200" for i in range(25)}), "limit is 24"),
        (zipped({"a.line": bytes(3 * 2**20)}), "1000 times"),
        (gzip.compress(bytes(3 * 2**20)), "1000 times"),
        (zipped({"inner.zip": zipped({"a.line": b"power 200"})}), "archive inside an archive"),
        (gzip.compress(zipped({"a.line": b"power 200"})), "archive inside an archive"),
    ],
)
def test_a_ceiling_of_archives_is_one_sentence(client, data, words):
    answer = send(client, data, "rides.zip")
    assert answer.status_code == 422
    assert words in answer.get_json()["error"]


def test_a_reader_that_fails_is_a_sentence_and_no_traceback(client, counter, monkeypatch):
    monkeypatch.setattr(pretend, "recording", lambda data, name: 1 / 0)
    answer = send(client, b"power 200", "odd.line")
    assert answer.status_code == 422
    assert "odd.line" in answer.get_json()["error"]
    assert "ZeroDivision" not in answer.text


def test_a_file_beyond_the_limit_is_told_so_by_name(client):
    answer = send(client, b"p" * 300_000, "huge.line")
    assert answer.status_code == 413
    assert "huge.line" in answer.get_json()["error"]


def test_other_requests_may_be_far_smaller_only(client):
    answer = client.post("/trials", data=b"[" * 4_500_000, headers=OURS, content_type="application/json")
    assert answer.status_code in (400, 413)
    answer = client.post("/_dash-update-component", data=b"[" * 4_500_000, content_type="application/json")
    assert answer.status_code == 413


@pytest.mark.parametrize("name", ["../../etc/passwd", "C:\\rides\\hub.line", "a\x00b.line", "<b>x</b>.line", "", "é" * 500])
def test_a_file_name_is_never_a_path_and_never_trusted(client, name):
    told = send(client, b"power 200", name).get_json()["name"]
    assert told
    assert "/" not in told
    assert "\\" not in told
    assert told.isprintable()
    assert len(told) <= 200


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"X-Requested-With": "countercheck"},  # no browser says where it comes from
        {"Origin": "http://localhost"},  # a plain form could send this
        {"X-Requested-With": "countercheck", "Origin": "http://evil.example"},
        {"X-Requested-With": "countercheck", "Origin": "null"},
        {"X-Requested-With": "countercheck", "Origin": "http://localhost:9999"},
        {"X-Requested-With": "countercheck", "Sec-Fetch-Site": "cross-site"},
        {"X-Requested-With": "countercheck", "Origin": "http://localhost", "Sec-Fetch-Site": "same-site"},
    ],
)
@pytest.mark.parametrize("path", ["/upload", "/trials"])
def test_another_sites_page_cannot_upload(client, headers, path):
    answer = client.post(path, data=b"power 200", headers=headers)
    assert answer.status_code == 403


def test_another_sites_page_cannot_call_back(client):
    body = {"output": "x.children", "inputs": [], "changedPropIds": []}
    for headers in ({"Origin": "http://evil.example"}, {"Sec-Fetch-Site": "cross-site"}):
        assert client.post("/_dash-update-component", json=body, headers=headers).status_code == 403
