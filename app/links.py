"""Every address of the site, made and read in one place. Pure: no request, no store.

A trial's page is `/trial/<id>`; what is on the screen follows the question mark (see `app.screen`), the section the hash.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import parse_qsl, urlsplit

from app.screen import OPENING, Screen, from_query

HOME = "/"
DEMO = "/demo"
DOSSIERS = "/dossier"
HEALTH = "/healthz"
PLAN = "/plan"
IMPORT = "/import"
DRAFT = "draft"  # stands for the plan that a browser holds, where a plan's address is asked for
# Trial ids and owner keys: the characters of URL-safe base64, long enough that none is guessed (22 carry 128 bit).
ID_PATTERN = r"[A-Za-z0-9_-]{22,64}"

_TRIAL = re.compile(rf"/trial/({ID_PATTERN})")
_PLAN = re.compile(rf"{PLAN}/({ID_PATTERN})")
_DOSSIER = re.compile(rf"/dossier/({ID_PATTERN})")
_ID = re.compile(ID_PATTERN)


@dataclass(frozen=True, kw_only=True)
class TrialAddress:
    """What the address of a trial's page says."""

    trial_id: str
    screen: Screen = OPENING


def trial_path(trial_id: str, screen: Screen = OPENING, *, section: str | None = None) -> str:
    """Address of a trial's page showing `screen`, scrolled to the section of that id."""
    query = screen.query()
    return f"/trial/{trial_id}" + (f"?{query}" if query else "") + (f"#{section}" if section else "")


def absolute(base: str, path: str) -> str:
    """The whole address, to be sent to somebody; `base` is scheme and host."""
    return base.rstrip("/") + path


def owner_path(trial_id: str, owner_key: str) -> str:
    """The owner link: opened once, it moves the key into a cookie and leads on to the trial's page."""
    return f"/own/{trial_id}/{owner_key}"


def result_path(trial_id: str) -> str:
    """Download of the whole result as JSON."""
    return f"/trial/{trial_id}/result.json"


def deltas_path(trial_id: str) -> str:
    """Download of the delta table as CSV."""
    return f"/trial/{trial_id}/deltas.csv"


def everything_path(trial_id: str) -> str:
    """Download of the whole trial, for its owner."""
    return f"/trial/{trial_id}/everything.zip"


def tables_path(trial_id: str) -> str:
    """Download of every table as CSV, in one archive."""
    return f"/trial/{trial_id}/tables.zip"


def report_path(trial_id: str) -> str:
    """Download of the whole report as one file that works without a server."""
    return f"/trial/{trial_id}/report.html"


def plan_path(token: str) -> str:
    """Address of a kept ride plan."""
    return f"{PLAN}/{token}"


def plan_owner_path(token: str, owner_key: str) -> str:
    """A plan's owner link, which moves the key into a cookie."""
    return f"/own-plan/{token}/{owner_key}"


def plan_workout_path(token: str) -> str:
    """Download of a kept plan as a FIT workout."""
    return f"{PLAN}/{token}/workout.fit"


def plan_toml_path(token: str) -> str:
    """Download of a kept plan as `[[plan]]` entries."""
    return f"{PLAN}/{token}/plan.toml"


def plan_copy_path(token: str) -> str:
    """The editor, beginning with what a kept plan says."""
    return f"{PLAN}?copy={token}"


def new_trial_path(token: str) -> str:
    """The home page, its sheet with a kept plan's steps; with DRAFT those of the draft that the browser holds."""
    return f"{HOME}?plan={token}"


def plan_token(address: str) -> str | None:
    """The token in the address of a kept plan; None where it is not one."""
    match = _PLAN.fullmatch(urlsplit(address).path)
    return match[1] if match else None


def dossier_path(address: str) -> str:
    """Address of a dossier's page."""
    return f"{DOSSIERS}/{address}"


def dossier_owner_path(address: str, owner_key: str) -> str:
    """The owner link of a dossier: opened once, it moves the key into a cookie and leads on to the page."""
    return f"/own-dossier/{address}/{owner_key}"


def dossier_page_path(address: str) -> str:
    """Download of a dossier's page as one file."""
    return f"{DOSSIERS}/{address}/page.html"


def dossier_data_path(address: str) -> str:
    """Download of a dossier's data package."""
    return f"{DOSSIERS}/{address}/data.zip"


def parse_dossier(path: str) -> str | None:
    """The address in the path of a dossier's page; None when it is not one."""
    match = _DOSSIER.fullmatch(path)
    return None if match is None else match[1]


def parse(address: str) -> TrialAddress | None:
    """Read the address of a trial's page, whole or without host; None when it is not one."""
    try:
        parts = urlsplit(address)
    except ValueError:  # brackets that hold no address
        return None
    match = _TRIAL.fullmatch(parts.path)
    if match is None:
        return None
    return TrialAddress(trial_id=match[1], screen=from_query(dict(parse_qsl(parts.query))))


def trial_in(address: str | None) -> str | None:
    """The trial's own part in the address of its page; None where it is none."""
    found = parse(address) if address else None
    return found and found.trial_id


def is_id(text: object) -> bool:
    """Whether this could be a trial id at all; spares the database the rest."""
    return isinstance(text, str) and _ID.fullmatch(text) is not None
