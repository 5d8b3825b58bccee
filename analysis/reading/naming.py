"""What a file's name tells: a name for messages, a label to start from, a guess at the measuring point. And hashes."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from typing import Any

# Public on purpose: the hash only keeps serial numbers out of pages and files, so that two recordings of one sensor can
# still be matched; short enough that many serial numbers share each value.
SERIAL_SALT = "countercheck serial"
SERIAL_DIGITS = 8

MAX_NAME = 120
MAX_LABEL = 40

# Words in a file's name -> measuring point, in the order of the chain.
POINT_WORDS = {
    "pedal": "pedal", "pedals": "pedal",
    "crank": "crank", "cranks": "crank", "crankarm": "crank", "crankset": "crank",
    "spider": "spider",
    "hub": "hub", "rearhub": "hub",
    "trainer": "trainer", "hometrainer": "trainer", "turbo": "trainer",
    "roller": "roller", "rollers": "roller",
}  # fmt: skip

# Device types that a file may state for a sensor: a trainer without a power meter beside it is what measured.
BIKE_POWER, FITNESS_EQUIPMENT = 11, 17

_SUFFIX = re.compile(r"(\.(fit|csv|tsv|txt|tcx|gpx|gz|zip|xml))+$", re.IGNORECASE)
_DATE = re.compile(
    r"(?<!\d)(19|20)\d\d[-_. ]?\d\d[-_. ]?\d\d(?!\d)"  # 2024-05-31, 20240531
    r"|(?<!\d)\d\d[-_:.]\d\d([-_:.]\d\d)?(?!\d)"  # 14-30, 14-30-05
    r"|(?<!\d)\d{6}(?!\d)"  # 143005
)


def clean_name(name: str) -> str:
    """The last part of a path, printable, at most MAX_NAME characters; "unnamed file" when nothing is left."""
    last = re.split(r"[\\/]", str(name).strip())[-1]
    printable = "".join(c for c in last if c.isprintable()).strip()
    if len(printable) > MAX_NAME:
        printable = printable[: MAX_NAME - 10] + "..." + printable[-7:]
    return printable if printable.strip(".") else "unnamed file"


def guess_label(name: str) -> str:
    """The stem of a file name, made readable: no suffix, no date, spaces for underscores."""
    stem = _SUFFIX.sub("", clean_name(name))
    words = re.sub(r"[\s_\-+.]+", " ", _DATE.sub(" ", stem)).strip()
    if not words:
        words = re.sub(r"[\s_]+", " ", stem).strip()
    return words[:MAX_LABEL].strip() or "recording"


def guess_point(name: str) -> str | None:
    """The measuring point that the file's name mentions, None where it mentions none or several."""
    words = re.findall(r"[a-z]+", _SUFFIX.sub("", clean_name(name)).lower())
    found = {POINT_WORDS[w] for w in words if w in POINT_WORDS}
    return found.pop() if len(found) == 1 else None


def first_guesses(name: str, facts: Mapping[str, Any]) -> dict[str, str | None]:
    """Label and measuring point to start from: the file's name first, then what its sensors are."""
    kinds = {sensor.get("device_type") for sensor in facts.get("sensors", [])}
    by_sensors = "trainer" if FITNESS_EQUIPMENT in kinds and BIKE_POWER not in kinds else None
    return {"label_guess": guess_label(name), "point_guess": guess_point(name) or by_sensors}


def hash_serial(serial: object) -> str:
    """Short salted hash of a serial number: SERIAL_DIGITS hex digits."""
    return hashlib.sha256(f"{SERIAL_SALT}:{serial}".encode()).hexdigest()[:SERIAL_DIGITS]
