"""Every address of the site, made and read in one place. Pure: no request, no store.

A trial's page is `/trial/<id>`; `?from=612.0&to=733.5` is the interval on the screen, in seconds on the trial's clock.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import parse_qsl, urlencode, urlsplit

HOME = "/"
DEMO = "/demo"
# Trial ids and owner keys: the characters of URL-safe base64, long enough that none is guessed (22 carry 128 bit).
ID_PATTERN = r"[A-Za-z0-9_-]{22,64}"
# An interval's ends are kept to the millisecond; a trial lasts days at most, so more digits than these are a mistake.
MAX_TIME_S = 1e8

_TRIAL = re.compile(rf"/trial/({ID_PATTERN})")
_ID = re.compile(ID_PATTERN)


@dataclass(frozen=True, kw_only=True)
class TrialAddress:
    """What the address of a trial's page says; `window` is (from_s, to_s) or None for the whole trial."""

    trial_id: str
    window: tuple[float, float] | None = None


def trial_path(trial_id: str, window: tuple[float, float] | None = None) -> str:
    """Address of a trial's page, with the interval to be shown."""
    path = f"/trial/{trial_id}"
    return path if window is None else f"{path}?{window_query(window)}"


def window_query(window: tuple[float, float]) -> str:
    """The part of the address behind the question mark."""
    return urlencode({"from": _seconds(window[0]), "to": _seconds(window[1])})


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


def parse(address: str) -> TrialAddress | None:
    """Read the address of a trial's page, whole or without host; None when it is not one."""
    parts = urlsplit(address)
    match = _TRIAL.fullmatch(parts.path)
    if match is None:
        return None
    return TrialAddress(trial_id=match[1], window=parse_window(dict(parse_qsl(parts.query))))


def parse_window(query: Mapping[str, str]) -> tuple[float, float] | None:
    """The interval in a query; None when there is none, or none that makes sense. Unknown keys are ignored."""
    try:
        window = (float(query["from"]), float(query["to"]))
    except (KeyError, TypeError, ValueError):
        return None
    sensible = all(math.isfinite(t) and abs(t) <= MAX_TIME_S for t in window) and window[0] < window[1]
    return window if sensible else None


def is_id(text: object) -> bool:
    """Whether this could be a trial id at all; spares the database the rest."""
    return isinstance(text, str) and _ID.fullmatch(text) is not None


def _seconds(value_s: float) -> str:
    text = f"{value_s:.3f}".rstrip("0")
    text = text + "0" if text.endswith(".") else text
    return "0.0" if text == "-0.0" else text
