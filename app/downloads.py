"""Addresses that are not pages: a trial's files for taking away, the owner link, the built-in trial."""

from __future__ import annotations

import json
from dataclasses import replace

import flask

from analysis.archive import OpenTrial
from app import access, freezing, links, showing, tables
from app.demo import demo_trial
from app.jobs import Failed, Working
from app.offline import offline_report
from app.services import get_services
from app.store import NoSuchTrial
from app.table_files import zipped

RETRY_AFTER_S = 2


def register(server: flask.Flask) -> None:
    """Add the routes."""
    server.add_url_rule("/trial/<trial_id>/result.json", "result_json", result_json)
    server.add_url_rule("/trial/<trial_id>/deltas.csv", "deltas_csv", deltas_csv)
    server.add_url_rule("/trial/<trial_id>/tables.zip", "tables_zip", tables_zip)
    server.add_url_rule("/trial/<trial_id>/report.html", "report_html", report_html)
    server.add_url_rule(links.DEMO, "demo", demo)
    server.add_url_rule("/own/<trial_id>/<owner_key>", "own", own)


def result_json(trial_id: str) -> flask.Response:
    """The whole result, as `countercheck compare --json` writes it."""
    found = _found(trial_id)
    if isinstance(found, flask.Response):
        return found
    text = json.dumps(found.report, ensure_ascii=False, allow_nan=False, indent=1)
    return _attachment(text, "application/json", f"countercheck-{trial_id[:8]}.json")


def deltas_csv(trial_id: str) -> flask.Response:
    """The delta table by block."""
    found = _found(trial_id)
    if isinstance(found, flask.Response):
        return found
    return _attachment(tables.deltas_csv(found.report), "text/csv", f"countercheck-{trial_id[:8]}-deltas.csv")


def tables_zip(trial_id: str) -> flask.Response:
    """Every table as CSV."""
    found = _found(trial_id)
    if isinstance(found, flask.Response):
        return found
    return _attachment(zipped(found.report), "application/zip", f"countercheck-{trial_id[:8]}-tables.zip")


def report_html(trial_id: str) -> flask.Response:
    """The page as one file that works without a server."""
    found = _found(trial_id)
    if isinstance(found, flask.Response):
        return found
    notes = get_services().store.notes.of(trial_id)
    hand = replace(showing.hand_of(access.stored_trial(trial_id)), plan_path=None)  # a file has no address of this site
    text = offline_report(found, hand=hand, notes=notes)
    response = _attachment(text, "text/html", f"countercheck-{trial_id[:8]}.html")
    # a saved page, not one of this site: opened in place it gets no rights here, its own policy stands inside it
    response.headers["Content-Security-Policy"] = "sandbox allow-scripts"
    return response


def demo() -> flask.Response:
    """Leads on to the built-in trial."""
    return flask.redirect(links.trial_path(demo_trial(get_services())), code=303)


def own(trial_id: str, owner_key: str) -> flask.Response:
    """The owner link: the key moves from the address into a cookie, and the address bar shows the page's own address.

    It works for as long as the key does, whatever became of the reader link that stands in it.
    """
    good = links.is_id(trial_id) and links.is_id(owner_key)
    address = get_services().store.links.way_in(trial_id, [owner_key]) if good else None
    if address is None:
        raise NoSuchTrial()
    response = flask.redirect(links.trial_path(address), code=303)
    access.grant(response, address, owner_key)
    response.headers["Cache-Control"] = "no-store"
    return response


def _found(trial_id: str) -> OpenTrial | flask.Response:
    """The open result for taking away, or the answer why there is none now. Hidden deltas raise."""
    services = get_services()
    stored = access.stored_trial(trial_id)
    if stored is None:
        raise NoSuchTrial()
    freezing.refuse_hidden(stored)
    answer = services.jobs.ask(trial_id)
    if isinstance(answer, Failed):
        return flask.make_response(flask.jsonify(error=answer.sentence), 422)
    if isinstance(answer, Working):
        response = flask.make_response(flask.jsonify(error="The result is being computed; try again shortly."), 503)
        response.headers["Retry-After"] = str(RETRY_AFTER_S)
        return response
    return answer.open_trial


def _attachment(text: str | bytes, mimetype: str, filename: str) -> flask.Response:
    response = flask.Response(text, mimetype=mimetype)
    response.headers["Content-Disposition"] = f'attachment; filename="{filename}"'
    return response
