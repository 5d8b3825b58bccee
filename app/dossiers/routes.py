"""Addresses of a dossier that are not its page: the owner link, the data package, the page as one file."""

from __future__ import annotations

import io
import zipfile

import flask

from analysis.archive import OpenTrial
from analysis.dossier.packaging import package_files
from analysis.trial import Trial
from analysis.version import ANALYSIS_VERSION
from app import access, links
from app.dossiers.one_file import page_as_file
from app.dossiers.showing import closed
from app.services import get_services
from app.showing import open_trial
from app.store import NoSuchDossier, StoredDossier

STAMP = (1980, 1, 1, 0, 0, 0)  # the same content is the same file


def register(server: flask.Flask) -> None:
    """Add the routes."""
    server.add_url_rule("/own-dossier/<address>/<owner_key>", "own_dossier", own_dossier)
    server.add_url_rule(f"{links.DOSSIERS}/<address>/data.zip", "dossier_data", dossier_data)
    server.add_url_rule(f"{links.DOSSIERS}/<address>/page.html", "dossier_page", dossier_page)


def own_dossier(address: str, owner_key: str) -> flask.Response:
    """The key moves from the address into a cookie; a wrong one is answered like an address that leads nowhere."""
    good = links.is_id(address) and links.is_id(owner_key)
    current = get_services().store.dossiers.links.way_in(address, [owner_key]) if good else None
    if current is None:
        flask.abort(404)
    response = flask.redirect(links.dossier_path(current), code=303)
    access.grant(response, current, owner_key, access.DOSSIER)
    response.headers["Cache-Control"] = "no-store"
    return response


def dossier_data(address: str) -> flask.Response:
    """The data package; samples of those trials whose results are there and whose deltas are not hidden."""
    found = _found(address)
    samples = {t.key: trial for t in found.dossier.trials if (trial := _samples(t.link)) is not None}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in package_files(found.dossier, samples, version=ANALYSIS_VERSION).items():
            archive.writestr(zipfile.ZipInfo(name, STAMP), data, compress_type=zipfile.ZIP_DEFLATED)
    return _attachment(out.getvalue(), "application/zip", f"dossier-{found.inner_id[:8]}-data.zip")


def dossier_page(address: str) -> flask.Response:
    """The page as one file that needs no server."""
    found = _found(address)
    page = page_as_file(found, closed=closed(found.dossier))
    response = _attachment(page.encode(), "text/html", f"dossier-{found.inner_id[:8]}.html")
    # a saved page, not one of this site: opened in place it gets no rights here
    response.headers["Content-Security-Policy"] = "sandbox allow-scripts"
    return response


def _found(address: str) -> StoredDossier:
    found = access.stored_dossier(address)
    if found is None:
        raise NoSuchDossier()
    return found


def _samples(link: str | None) -> Trial | None:
    address = links.trial_in(link)
    opened: OpenTrial | None = open_trial(address) if address is not None else None
    return None if opened is None else opened.trial


def _attachment(data: bytes, mimetype: str, name: str) -> flask.Response:
    response = flask.Response(data, mimetype=mimetype)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
