"""Where the axes' ticks stand and how they are written."""

from __future__ import annotations

import math


def clock_text(time_s: float) -> str:
    """Elapsed time as m:ss, or h:mm:ss from an hour on. [s]"""
    whole = round(abs(time_s))
    hours, minutes, seconds = whole // 3600, whole // 60 % 60, whole % 60
    sign = "−" if time_s < 0 and whole else ""
    return f"{sign}{hours}:{minutes:02d}:{seconds:02d}" if hours else f"{sign}{minutes}:{seconds:02d}"


def clock_ticks(start_s: float, end_s: float, *, most: int) -> list[float]:
    """At most about `most` round times from start to end. [s]"""
    rounds = (5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)
    step_s = next((s for s in rounds if (end_s - start_s) / s <= most), 14400)
    return [float(step_s * i) for i in range(math.ceil(start_s / step_s), math.floor(end_s / step_s) + 1)]


def percent_ticks(limits: list[float]) -> list[int]:
    """A handful of round percentages within the limits, zero among them. [%]"""
    step = next((s for s in (2, 5, 10) if (limits[1] - limits[0]) / s <= 5), 20)
    return list(range(math.ceil(limits[0] / step) * step, math.floor(limits[1]) + 1, step))


def signed_text(ticks: list[int]) -> list[str]:
    """Ticks with their signs, as the tables write them."""
    return [f"{tick:+d}".replace("-", "−") if tick else "0" for tick in ticks]
