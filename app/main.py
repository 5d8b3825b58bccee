"""Puts the server together: `create_app(settings)` gives the Dash app, whose `server` any WSGI server can run."""

from __future__ import annotations

import importlib
from functools import cache
from typing import Any

import dash
import flask

from app import access, downloads, health, logs, preview, protection, unchanging, uploads
from app.carrying import routes as carrying
from app.dossiers import routes as dossiers
from app.engine import Engine
from app.jobs import Jobs
from app.limits_gate import Gate
from app.links import parse, parse_dossier, plan_token
from app.parsing import Children, Here
from app.places import assets_dir
from app.planning import access as plan_access
from app.planning import routes as plan_routes
from app.services import CONFIG_KEY, Services
from app.settings import Settings
from app.store import Store
from app.store.folders import kept_secret

INDEX = """<!DOCTYPE html>
<html lang="en">
  <head>
    {%metas%}
    <!--of this page-->
    <title>{%title%}</title>
    {%favicon%}
    {%css%}
  </head>
  <body>
    <noscript><!--without script--></noscript>
    {%app_entry%}
    <footer>
      {%config%}
      {%scripts%}
      {%renderer%}
    </footer>
  </body>
</html>
"""
CATCH_ALL = "/<path:path>"


class Site(dash.Dash):
    """Dash, but for what the served page says before any script has run."""

    def interpolate_index(self, *args: str, **parts: str) -> str:
        """The page with its assets addressed by content, and in it what is known of it already."""
        page = unchanging.with_hashes(super().interpolate_index(*args, **parts))
        metas, summary = preview.of_page(flask.request.path) if flask.has_request_context() else ("", "")
        before, after = page.split("<!--without script-->")
        return f"{before.replace('<!--of this page-->', metas)}{summary}{after}"


class _Server(flask.Flask):
    """Flask, but its log of a fault names the route: the path holds links and keys."""

    def log_exception(self, exc_info: Any) -> None:
        rule = flask.request.url_rule
        self.logger.error("fault while answering %s %s", flask.request.method, rule.rule if rule else "?", exc_info=exc_info)


def create_app(settings: Settings, *, engine: Engine | None = None) -> dash.Dash:
    """The dashboard over the store in the settings' folders; `engine` stands in for the analysis in tests.

    Raises
    ------
    UnusableStore
        The data folder or the database cannot be used; the message says what to do.
    """
    store = Store(settings)
    server = _Server("countercheck", static_folder=None)
    server.secret_key = settings.secret_key or kept_secret(settings.data_dir)
    gate = Gate(settings, server.secret_key)
    services = server.config[CONFIG_KEY] = Services(
        settings=settings,
        store=store,
        jobs=Jobs(store, engine, limits=settings.limits, shared=gate.shared),
        reader=Here(engine.read) if engine else Children(settings.limits),
        gate=gate,
    )
    if settings.public:
        logs.register(server)
    protection.register(server, settings, services.gate)
    app = Site(
        __name__,
        server=server,
        title="countercheck",
        update_title=None,
        index_string=INDEX,
        assets_folder=str(assets_dir()),
        assets_path_ignore=["^offline"],  # for the report that works without a server
        use_pages=True,
        pages_folder="",
        include_pages_meta=False,  # would put the unguessable address into meta tags
        meta_tags=[{"name": "robots", "content": "noindex, nofollow"}],
        suppress_callback_exceptions=True,  # else every page's layout is embedded in every index
        serve_locally=True,
        compress=True,
        enable_mcp=False,
        add_log_handler=False,
    )
    _add_pages(app)
    uploads.register(server)
    downloads.register(server)
    plan_routes.register(server)
    carrying.register(server)
    dossiers.register(server)
    health.register(server, services)
    unchanging.register(server)
    protection.refuse_other_calls(server, lambda: app.callback_map)
    server.before_request(lambda: _not_found(app))
    protection.add_headers(server, app.csp_hashes)
    return app


def _add_pages(app: dash.Dash) -> None:
    """Give this app all callbacks and the shell.

    Dash hands callbacks that were made without an app to whichever app answers first; a second app in the same process
    would get none. So they are taken from Dash's waiting lists once and given to every app.
    """
    callbacks, inline_scripts, by_output = _registered()
    app._callback_list.extend(callbacks)
    app._inline_scripts.extend(inline_scripts)
    app.callback_map.update(by_output)
    pages = importlib.import_module("app.pages")
    app.layout = pages.shell


@cache
def _registered() -> tuple[tuple, tuple, dict]:
    for module in ("app.pages", "app.callbacks"):
        importlib.import_module(module)
    waiting = dash._callback
    held = (waiting.GLOBAL_CALLBACK_LIST, waiting.GLOBAL_INLINE_SCRIPTS, waiting.GLOBAL_CALLBACK_MAP)
    taken = (tuple(held[0]), tuple(held[1]), dict(held[2]))
    for one in held:
        one.clear()
    return taken


def _not_found(app: dash.Dash) -> Any:
    """The page's shell with status 404 where Dash would answer any address at all with 200.

    An owner who comes by a link that is closed to readers is led to the address that is open.
    """
    request = flask.request
    if request.url_rule is None or request.url_rule.rule != CATCH_ALL:
        return None
    if token := plan_token(request.path):
        return None if plan_access.stored_plan(token) else (app.index(), 404)
    kind, address = _asked(request.path)
    if address is None:
        found = any(page["path"] == request.path for page in dash.page_registry.values() if not page["path_template"])
        return None if found else (app.index(), 404)
    stored = access.seen(address, kind)
    if stored is not None and not stored.private:
        return None
    current = access.way_in(address, kind)
    if current not in (None, address):
        query = request.query_string.decode(errors="replace")
        return flask.redirect(kind.path(current) + (f"?{query}" if query else ""), code=302)
    return None if stored is not None else (app.index(), 404)


def _asked(path: str) -> tuple[access.Kind, str | None]:
    """Which trial or dossier the path of a page asks for."""
    dossier, trial = parse_dossier(path), parse(path)
    return (access.DOSSIER, dossier) if dossier else (access.TRIAL, trial and trial.trial_id)
