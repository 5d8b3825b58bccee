"""Numbers as the pages print them: true minus signs, units, one decimal, a dash where there is nothing to say. Pure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime

from analysis.figures import clock_text

NOTHING = "–"
_CHANNEL_UNITS = ("_degc", "_frac", "_bpm", "_rpm", "_mps", "_w", "_m", "_j")
_UNIT_GAP = re.compile(r"(?<=\d) (?=(?:%|°C|W|s|min|h|rpm|ppm)(?!\w))")
THIN = "\u202f"  # narrow no-break space between number and unit

TOO_SHORT = "too short"
# Drop-outs are whole seconds, smoothing is searched in tenths; the others go by their unit.
_COARSE_DIGITS = {"dropouts": 0, "stuck": 0, "smoothing": 1, "single-sided": 2}
_UNIT_DIGITS = (("ppm", 0), ("/degC", 2), ("/rpm", 3), ("N·m", 2), ("s", 2))

KIND_MEANS = {
    "steady": "power held",
    "transient": "surge, sprint or step",
    "free": "riding along",
    "idle": "not pedalling",
    "gap": "no data from two recordings",
    "all": "every second both cover",
}
VIA_MEANS = {
    "heart_rate": "heart rate, from a shared strap",
    "cadence": "cadence",
    "speed": "speed",
    "altitude": "altitude",
    "power": "power alone",
    "clock": "the clocks as recorded",
    "manual": "set by hand",
}


def number(value: float | None, digits: int = 1) -> str:
    """A plain number, `12.3`."""
    return NOTHING if value is None else _minus(f"{value:.{digits}f}")


def signed(value: float | None, digits: int = 1) -> str:
    """A difference, always with its sign; what rounds to zero carries none."""
    if value is None:
        return NOTHING
    text = f"{value:+.{digits}f}"
    return text[1:] if float(text) == 0 else _minus(text)


def with_unit(text: str, unit: str) -> str:
    """Number and unit that never part at a line's end; nothing stays nothing."""
    return text if text.startswith(NOTHING) or not unit else f"{text}{THIN}{unit}"


def span(limits: Sequence[float | None] | None, digits: int = 1) -> str:
    """An interval of differences, `+1.2 to +2.4`."""
    if not limits or None in limits:
        return NOTHING
    return f"{signed(limits[0], digits)} to {signed(limits[1], digits)}"


def size_digits(code: str, unit: str | None) -> int:
    """How many decimals a finding's size is worth: as many as its unit can carry, fewer where the figure is coarse."""
    if code in _COARSE_DIGITS:
        return _COARSE_DIGITS[code]
    return next((digits for end, digits in _UNIT_DIGITS if (unit or "").endswith(end)), 1)


def unit_words(unit: str | None) -> str:
    """A unit as a reader writes it: `%/degC` -> `%/°C`."""
    return (unit or "").replace("degC", "°C")


def span_or_short(limits: Sequence[float | None] | None, reason: str | None, digits: int = 1) -> str:
    """An interval, or a dash and why there is none: what a few seconds give would be an absurd pair of numbers."""
    return f"{NOTHING} {TOO_SHORT}" if is_too_short(reason) else span(limits, digits)


def is_too_short(reason: str | None) -> bool:
    """Whether a verdict's reason says that the stretch is too short to judge."""
    return (reason or "").startswith("The stretch is too short")


def unbroken(sentence: str) -> str:
    """The same sentence, its numbers and units held together at a line's end."""
    return _UNIT_GAP.sub("\u00a0", sentence)


def from_to(start_s: float, end_s: float) -> str:
    """A stretch of the trial, `12:40–25:10`."""
    return f"{clock_text(start_s)}–{clock_text(end_s)}"


def length(duration_s: float) -> str:
    """A duration in words, `12 min 30 s`."""
    whole = round(duration_s)
    hours, minutes, seconds = whole // 3600, whole // 60 % 60, whole % 60
    parts = [(hours, "h"), (minutes, "min"), (seconds, "s")]
    kept = [f"{n}{THIN}{unit}" for n, unit in parts if n]
    return " ".join(kept) or f"0{THIN}s"


def day_and_time(iso: str | None) -> str:
    """`2026-01-17 18:05 UTC`; empty where the clock says nothing of the date."""
    if not iso:
        return ""
    try:
        return datetime.fromisoformat(iso).strftime("%Y-%m-%d %H:%M UTC")
    except ValueError:
        return iso


def counted(n: int, noun: str) -> str:
    """`one block`, `4 blocks`."""
    return f"one {noun}" if n == 1 else f"{n} {noun}s"


def plain_key(key: str) -> str:
    """A fact's key as words: `serial_tail` -> `serial tail`."""
    return key.replace("_", " ")


def channel_words(channel: str) -> str:
    """A channel's name without its unit: `heart_rate_bpm` -> `heart rate`."""
    unit = next((u for u in _CHANNEL_UNITS if channel.endswith(u)), "")
    return plain_key(channel.removesuffix(unit))


def _minus(text: str) -> str:
    return text.replace("-", "−")
