"""GET /trial/<address>/everything.zip for a trial's owner; POST /import opens such a file as a trial of whoever sends it."""

from __future__ import annotations

from urllib.parse import unquote

import flask

from analysis.reading.naming import clean_name
from app import access, links, showing
from app.carrying.export import everything_of
from app.carrying.importing import take_in
from app.jobs import Working
from app.services import get_services
from app.store import ChangedMeanwhile
from app.uploads import not_from_our_page

RETRY_AFTER_S = 2


def register(server: flask.Flask) -> None:
    """Add both routes."""
    server.add_url_rule("/trial/<trial_id>/everything.zip", "everything", everything)
    server.add_url_rule(links.IMPORT, "import_trial", import_trial, methods=["POST"])


def everything(trial_id: str) -> flask.Response:
    """The whole trial; for its owner only, because the recordings are in it."""
    access.require_owner(trial_id)
    services = get_services()
    stored = services.store.trial(trial_id)
    result = None
    if not stored.deltas_hidden:
        answer = services.jobs.ask(trial_id)
        if isinstance(answer, Working):
            response = flask.make_response(flask.jsonify(error="The result is being computed; try again shortly."), 503)
            response.headers["Retry-After"] = str(RETRY_AFTER_S)
            return response
        found = showing.open_trial(trial_id)
        result = found and found.report
    data = everything_of(services.store, stored, result, analysis_version=services.jobs.engine.version)
    if services.store.trial(trial_id).setup_version != stored.setup_version:
        raise ChangedMeanwhile("The trial was changed while it was being packed; try again.")
    response = flask.Response(data, mimetype="application/zip")
    response.headers["Content-Disposition"] = f'attachment; filename="countercheck-{trial_id[:8]}-everything.zip"'
    response.headers["Cache-Control"] = "no-store"
    return response


def import_trial() -> tuple[flask.Response, int]:
    """The file as the request's body -> {"id", "path"}, and the new owner key as a cookie."""
    refused = not_from_our_page()
    if refused:
        return refused
    services = get_services()
    name = clean_name(unquote(flask.request.headers.get("X-File-Name", "")))
    carried = services.reader.read_trial(flask.request.get_data(cache=False), name=name, max_files=services.settings.max_files)
    services.gate.new_trial()
    new = take_in(services.store, carried)
    response = flask.jsonify(id=new.trial_id, path=links.trial_path(new.trial_id))
    access.grant(response, new.trial_id, new.owner_key)
    return response, 201
