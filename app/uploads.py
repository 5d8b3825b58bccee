"""POST /upload: one file per request, read at once, so that the page can say what it is before anything is compared.

What was sent is read in memory and forgotten: it holds positions and names, so it is never written to disk, not even for a
moment, nor into the log. What is kept is the recording as read. POST /trials: a trial of what was uploaded. Both refuse
requests that another site's page could have sent.
"""

from __future__ import annotations

import io
from datetime import UTC, datetime
from typing import Any
from urllib.parse import unquote

import flask

from analysis.reading.naming import clean_name, guess_label, guess_point
from analysis.reading.recording import Recording
from analysis.setup import DEFAULT_CLAIM_PCT
from app import access, links
from app.carrying import importing, parcel
from app.intake import device_key
from app.parsing import FileRead
from app.services import Services, create_trial, get_services

SENDER = "countercheck"


def register(server: flask.Flask) -> None:
    """Add both routes."""
    server.request_class = MemoryRequest
    server.add_url_rule("/upload", "upload", upload, methods=["POST"])
    server.add_url_rule("/trials", "make_trial", make_trial, methods=["POST"])


class MemoryRequest(flask.Request):
    """A request whose files stay in memory, where the usual one spools those above 500 KB to the disk."""

    def _get_file_stream(self, *_about: Any, **_more: Any) -> io.BytesIO:
        return io.BytesIO()


def upload() -> tuple[flask.Response, int]:
    """Keep the readable recordings and say what they hold; refuse any other with one sentence.

    One file is answered by what it holds, or by its sentence and 422; a `.zip` of several by {"recordings": [...],
    "errors": [{"name", "error"}, ...]}, 422 when none of them could be read. A whole trial is answered by {"name", "trial"}, and
    nothing of it is kept: it is for `carrying.routes.import_trial`.
    """
    refused = not_from_our_page()
    if refused:
        return refused
    sent_name, data = _file_of_request()
    services, name = get_services(), clean_name(sent_name)
    if parcel.is_parcel(data):
        carried = services.reader.read_trial(data, name=name, max_files=services.settings.max_files)
        return flask.jsonify(importing.describe(carried, name)), 200
    answers = [_kept(services, one) for one in services.reader.read(data, name=name)]
    errors = [answer for answer in answers if "error" in answer]
    status = 422 if len(errors) == len(answers) else 200
    if len(answers) == 1:
        return flask.jsonify(answers[0]), status
    return flask.jsonify(recordings=[answer for answer in answers if "error" not in answer], errors=errors), status


def make_trial() -> tuple[flask.Response, int]:
    """{"recordings": [{"id", "name"}], "setup": {...}, "blocks_first": false} -> {"id", "path"}, and the owner key as a cookie.

    `blocks_first`: nobody sees a delta before the owner has frozen the blocks.
    """
    refused = not_from_our_page()
    if refused:
        return refused
    asked = flask.request.get_json(silent=True)
    if not isinstance(asked, dict) or not isinstance(asked.get("recordings"), list):
        return flask.jsonify(error='Send JSON: {"recordings": [{"id", "name"}, ...], "setup": {...}}.'), 400
    setup = asked.get("setup", {})
    if not isinstance(setup, dict):
        return flask.jsonify(error='"setup" must be an object like setup.toml.'), 400
    blocks_first = asked.get("blocks_first", False)
    if not isinstance(blocks_first, bool):
        return flask.jsonify(error='"blocks_first" must be true or false.'), 400
    new = create_trial(get_services(), asked["recordings"], setup, blocks_first=blocks_first)
    response = flask.jsonify(id=new.trial_id, path=links.trial_path(new.trial_id))
    access.grant(response, new.trial_id, new.owner_key)
    return response, 201


def same_origin() -> bool | None:
    """Whether the browser says that one of our own pages sent this request; None when it says nothing."""
    site = flask.request.headers.get("Sec-Fetch-Site")
    if site:
        return site == "same-origin"
    origin, settings = flask.request.headers.get("Origin"), get_services().settings
    if origin is None:
        return None
    return origin == settings.base_url if settings.public else origin.partition("://")[2] == flask.request.host


def describe(recording: Recording, recording_id: str) -> dict[str, Any]:
    """What the page shows of an upload, with guesses for its form; `sha256` is that of the plain file."""
    start = datetime.fromtimestamp(recording.start_s, UTC) if recording.absolute_clock else None
    return {
        "id": recording_id,
        "sha256": recording.sha256,
        "name": recording.name,
        "label_guess": guess_label(recording.name),
        "point_guess": recording.facts.get("point_guess") or guess_point(recording.name),
        "device": device_key(recording),
        "claim_guess": DEFAULT_CLAIM_PCT,
        "firmware_guess": _firmware(recording.facts),
        "format": recording.format,
        "start_utc": start.isoformat(timespec="seconds").replace("+00:00", "Z") if start else None,
        "duration_s": round(recording.duration_s, 3),
        "samples": len(recording.samples),
        "channels": list(recording.channels),
        "warnings": list(recording.warnings),
    }


def _kept(services: Services, one: FileRead) -> dict[str, Any]:
    """Keep the recording of one file; what it holds, or {"name", "error"}. Raises StoreProblem: that is no fault of the file."""
    if one.recording is None:
        return {"error": one.error, "name": one.name}
    return describe(one.recording, services.store.put_recording(one.recording))


def not_from_our_page() -> tuple[flask.Response, int] | None:
    """The answer to a request that another site's page could have sent; None for one of ours."""
    ours = flask.request.headers.get("X-Requested-With") == SENDER and same_origin()
    return None if ours else (flask.jsonify(error="Uploads are taken from countercheck's own pages only."), 403)


def _file_of_request() -> tuple[str, bytes]:
    """Name and bytes, from a multipart form's first file or from the raw body."""
    sent_name = unquote(flask.request.headers.get("X-File-Name", ""))
    for file in flask.request.files.values():
        return sent_name or file.filename or "", file.read()
    return sent_name, flask.request.get_data(cache=False)


def _firmware(facts: dict[str, Any]) -> str | None:
    """The only power sensor's firmware, where the file names one; several sensors leave it open."""
    found = [s["firmware"] for s in facts.get("sensors", []) if s.get("type") == "bike_power" and "firmware" in s]
    return str(found[0]) if len(found) == 1 else None
