"""Where the axes' ticks stand and how they are written."""

from __future__ import annotations

import math
from datetime import datetime, timedelta


def clock_text(time_s: float) -> str:
    """Elapsed time as m:ss, or h:mm:ss from an hour on. [s]"""
    whole = round(abs(time_s))
    hours, minutes, seconds = whole // 3600, whole // 60 % 60, whole % 60
    sign = "−" if time_s < 0 and whole else ""
    return f"{sign}{hours}:{minutes:02d}:{seconds:02d}" if hours else f"{sign}{minutes}:{seconds:02d}"


def clock_ticks(start_s: float, end_s: float, *, most: int, start_utc: str | None = None) -> list[float]:
    """At most about `most` round times from start to end; round on the clock where `start_utc` says when zero was. [s]"""
    rounds = (5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)
    step_s = next((s for s in rounds if (end_s - start_s) / s <= most), 14400)
    zero_s = _of_day_s(start_utc) if start_utc else 0.0
    first, last = math.ceil((start_s + zero_s) / step_s), math.floor((end_s + zero_s) / step_s)
    return [float(step_s * i - zero_s) for i in range(first, last + 1)]


def clock_words(ticks: list[float], start_utc: str | None) -> list[str]:
    """Ticks as elapsed time, or as clock time in UTC where `start_utc` says when zero was; midnight is told by its date."""
    if start_utc is None:
        return [clock_text(tick) for tick in ticks]
    zero = datetime.fromisoformat(start_utc)
    at = [zero + timedelta(seconds=tick) for tick in ticks]
    seconds = any(one.second for one in at)
    return [f"{one:%b} {one.day}" if (one.hour, one.minute, one.second) == (0, 0, 0) else f"{one:%H:%M:%S}" if seconds
            else f"{one:%H:%M}" for one in at]  # fmt: skip


def _of_day_s(start_utc: str) -> float:
    start = datetime.fromisoformat(start_utc)
    return start.hour * 3600.0 + start.minute * 60 + start.second


def round_ticks(limits: list[float]) -> list[int]:
    """A handful of round values within the limits, zero among them. [% or W]"""
    step = next((s for s in (2, 5, 10, 20, 50) if (limits[1] - limits[0]) / s <= 5), 100)
    return list(range(math.ceil(limits[0] / step) * step, math.floor(limits[1]) + 1, step))


def signed_text(ticks: list[int]) -> list[str]:
    """Ticks with their signs, as the tables write them."""
    return [f"{tick:+d}".replace("-", "−") if tick else "0" for tick in ticks]
