"""What keeps a request from doing harm: host and origin checks, size limits, headers, and no tracebacks.

Sources: W3C Content Security Policy Level 3; OWASP Secure Headers; DNS rebinding: a page on another name that resolves
to 127.0.0.1 reaches a local server, and only the Host header tells.
"""

from __future__ import annotations

import html
import ipaddress
import json
from collections.abc import Callable, Container, Iterable
from typing import Any
from urllib.parse import unquote, urlsplit

import flask
from werkzeug.exceptions import HTTPException, InternalServerError, LengthRequired, RequestEntityTooLarge
from werkzeug.middleware.proxy_fix import ProxyFix

from analysis.errors import CountercheckError
from analysis.reading.naming import clean_name
from app import links
from app.access import NotOwner
from app.freezing import DeltasHidden
from app.jobs import QueueFull
from app.limits_gate import Gate
from app.limits_rates import TooMany
from app.limits_room import Crowded
from app.parsing import ReadersBusy
from app.settings import Settings
from app.store import Busy, DatabaseAway, FullDisk, NoSuchDossier, NoSuchPlan, NoSuchTrial, UnusableStore
from app.uploads import same_origin

LOCAL_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
WILDCARDS = frozenset({"0.0.0.0", "::", "*"})
# A multipart frame around the file; names and boundaries take less than this.
FRAME_BYTES = 64 * 2**10
TAKE_FILES = ("/upload", links.IMPORT)
# Callbacks carry ids and forms, never recordings.
OTHER_BODY_BYTES = 4 * 2**20
# What cannot be answered because of the server, not of what was sent, may be asked again.
RETRY_AFTER_S = 30
STATUSES = (
    ((NotOwner, DeltasHidden), 403),
    ((NoSuchTrial, NoSuchPlan, NoSuchDossier), 404),
    (TooMany, 429),
    (FullDisk, 507),
    ((Crowded, QueueFull, ReadersBusy, Busy, DatabaseAway, UnusableStore), 503),
)

TELLING = ("application/json", "text/html")
PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>countercheck</title>
<link rel="stylesheet" href="/assets/01-paper.css"><link rel="stylesheet" href="/assets/02-page.css"></head>
<body><div class="site"><div class="site-head" role="banner"><a href="/" class="wordmark">countercheck</a></div>
<main class="waiting"><h1>This did not work</h1><p>{sentence}</p><p><a href="/">Start page</a></p></main></div></body></html>
"""
CALLS = "/_dash-update-component"
FIXED_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "X-Robots-Tag": "noindex, nofollow, noarchive",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}


def register(server: flask.Flask, settings: Settings, gate: Gate) -> None:
    """Put the checks in front of every route; call before any other `before_request` is added."""
    server.config["MAX_CONTENT_LENGTH"] = settings.max_file_bytes + FRAME_BYTES
    server.wsgi_app = _in_front(server.wsgi_app, settings)
    server.before_request(lambda: _refused(settings))
    server.before_request(gate.arrive)
    server.teardown_request(gate.leave)
    server.register_error_handler(LengthRequired, _length_missing)
    server.register_error_handler(RequestEntityTooLarge, lambda problem: _too_large(problem, settings))
    server.register_error_handler(CountercheckError, _plain_problem)
    server.register_error_handler(RecursionError, _too_deep)
    server.register_error_handler(InternalServerError, _fault)


def _in_front(wsgi: Any, settings: Settings) -> Any:
    """The address of whoever asks, as the proxies that were stated tell it; scheme and host stay what the settings say.

    Of X-Forwarded-For only the last entries are one's own proxies' words, the rest anybody may have written.
    """
    if not settings.public:
        return wsgi
    scheme = urlsplit(settings.base_url or "").scheme

    def told(environ: dict[str, Any], start_response: Any) -> Any:
        environ["wsgi.url_scheme"] = scheme
        return wsgi(environ, start_response)

    return ProxyFix(told, x_for=settings.proxies, x_proto=0, x_host=0, x_port=0, x_prefix=0) if settings.proxies else told


def add_headers(server: flask.Flask, script_hashes: Callable[[], Iterable[str]]) -> None:
    """Headers for every answer; the inline scripts' hashes are asked for with the first page, when all are known."""
    policy: list[str] = []

    def headed(response: flask.Response) -> flask.Response:
        for name, value in FIXED_HEADERS.items():
            response.headers.setdefault(name, value)
        if response.mimetype == "text/html" and not policy:
            policy.append(content_policy(script_hashes()))
        # a saved page that is handed out has a stricter one already
        response.headers.setdefault("Content-Security-Policy", policy[0] if policy else content_policy(()))
        if response.mimetype in ("text/html", "application/json", "text/csv"):
            response.headers.setdefault("Cache-Control", "private, no-cache")
        return response

    server.after_request(headed)


def content_policy(script_hashes: Iterable[str]) -> str:
    """Only our own files; inline scripts by hash. Inline styles stay allowed: plotly sets them on every chart."""
    rules = {
        "default-src": "'none'",
        "script-src": " ".join(["'self'", *script_hashes]),
        "style-src": "'self' 'unsafe-inline'",
        "img-src": "'self' data: blob:",
        "font-src": "'self' data:",
        "connect-src": "'self'",
        "form-action": "'self'",
        "base-uri": "'none'",
        "frame-ancestors": "'none'",
    }
    return "; ".join(f"{name} {value}" for name, value in rules.items())


def host_allowed(host: str, settings: Settings) -> bool:
    """Whether a Host header names this server.

    Bound to every address, it may be reached by any of them: an address in figures cannot be rebound, a name can.
    """
    try:
        name = urlsplit(f"//{host}").hostname
    except ValueError:
        return False
    if not name:
        return False
    listed = {h.lower().strip("[]") for h in settings.allowed_hosts}
    if settings.public:
        return name in listed
    if name in listed | LOCAL_NAMES | {settings.host.lower().strip("[]")}:
        return True
    return settings.host in WILDCARDS and _is_address(name)


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _refused(settings: Settings) -> tuple[flask.Response, int] | None:
    request = flask.request
    if request.path == links.HEALTH:
        return None  # probes call by address, and what they are told is no secret
    if not host_allowed(request.host, settings):
        return _sentence(
            "This server does not answer to that name; use localhost, or list it in COUNTERCHECK_ALLOWED_HOSTS.", 421
        )
    if request.path == "/_reload-hash":
        return _sentence("Nothing is here.", 404)
    if request.method in ("POST", "PUT", "PATCH", "DELETE"):
        ours = same_origin()
        if ours is False or (ours is None and settings.public):
            return _sentence("Requests from other sites are not taken.", 403)
        if request.path not in TAKE_FILES:
            request.max_content_length = OTHER_BODY_BYTES
    return None


def refuse_other_calls(server: flask.Flask, known: Callable[[], Container[str]]) -> None:
    """Answer what no page of ours could have sent to a callback with one sentence, before Dash makes a fault of it.

    known : the outputs of all callbacks, asked for with each call.
    """

    def refused() -> tuple[flask.Response, int] | None:
        if flask.request.path != CALLS or flask.request.method != "POST":
            return None
        body = flask.request.get_json(silent=True)
        if isinstance(body, dict) and _is_call(body, known()) and _is_whole_text(flask.request.get_data()):
            return None
        return flask.jsonify(error="The page asked for something that this program does not know; reload it and try again."), 400

    server.before_request(refused)


def _is_call(body: dict[str, Any], known: Container[str]) -> bool:
    """Whether its output is known, and inputs, states and outputs are entries with an id and a property, or lists of such."""
    if not isinstance(body.get("output"), str) or body["output"] not in known:
        return False
    if not all(isinstance(body.get(key, []), list) for key in ("inputs", "state", "changedPropIds")):
        return False
    left = [*body.get("inputs", []), *body.get("state", []), body.get("outputs")]
    while left:
        one = left.pop()
        if isinstance(one, list):
            left += one
        elif not isinstance(one, dict) or not isinstance(one.get("id"), (str, dict)) or not isinstance(one.get("property"), str):
            return False
    return all(isinstance(name, str) for name in body.get("changedPropIds", []))


def _is_whole_text(sent: bytes) -> bool:
    """Whether no half of a character is in this JSON: it can only be written as an escape, and no database takes it."""
    if b"\\ud" not in sent.lower():
        return True
    try:
        json.dumps(json.loads(sent), ensure_ascii=False).encode()
    except ValueError:
        return False
    return True


def _sentence(text: str, status: int) -> tuple[flask.Response, int]:
    return flask.Response(text + "\n", mimetype="text/plain"), status


def _too_large(_problem: HTTPException, settings: Settings) -> tuple[flask.Response, int]:
    if flask.request.path not in TAKE_FILES:
        return flask.jsonify(error="That request is larger than any that this page sends."), 413
    name = clean_name(unquote(flask.request.headers.get("X-File-Name", "")))
    limit = settings.max_file_bytes // 2**20
    sentence = f"{name} is larger than {limit} MB, the most that is taken; export a shorter stretch, or as FIT."
    return flask.jsonify(error=sentence, name=name), 413


def _plain_problem(problem: CountercheckError) -> tuple[flask.Response, int]:
    status = next((number for kinds, number in STATUSES if isinstance(problem, kinds)), 422)
    response = _told(str(problem))
    response.headers["Cache-Control"] = "no-store"
    if status in (429, 503):
        response.headers["Retry-After"] = str(getattr(problem, "retry_s", RETRY_AFTER_S))
    return response, status


def _told(sentence: str) -> flask.Response:
    """As JSON for scripts; as a page of one sentence for whoever opened an address in a browser."""
    if flask.request.method != "GET" or flask.request.accept_mimetypes.best_match(TELLING, TELLING[0]) != "text/html":
        return flask.jsonify(error=sentence)
    return flask.Response(PAGE.format(sentence=html.escape(sentence)), mimetype="text/html")


def _length_missing(_problem: LengthRequired) -> tuple[flask.Response, int]:
    return flask.jsonify(error="A request that brings something must say how long it is."), 411


def _too_deep(_problem: RecursionError) -> tuple[flask.Response, int]:
    return flask.jsonify(error="That request is nested deeper than any that this page sends."), 400


def _fault(_problem: InternalServerError) -> tuple[flask.Response, int]:
    return flask.jsonify(error="The program met a fault of its own; it is in the server's log. Try again."), 500
