"""The ride that the browser benches put on a page, as several recordings of some hours. Seeded."""

from __future__ import annotations

import numpy as np

HOURS = 4


def four_hours(seed: int, gain: float) -> bytes:
    """One recording of four hours."""
    return long_ride(seed, gain, hours=HOURS)


def long_ride(seed: int, gain: float, *, hours: int) -> bytes:
    """One recording as CSV: the same ride, another gain, own noise."""
    n = hours * 3600
    ride = np.random.default_rng(1)
    power = 180 + 60 * np.sin(np.arange(n) / 700) + np.repeat(ride.normal(0, 25, n // 60), 60)
    cadence = 88 + np.repeat(ride.normal(0, 4, n // 30), 30)
    own = np.random.default_rng(seed)
    rows = zip(range(n), power * gain + own.normal(0, 4, n), cadence + own.normal(0, 0.5, n), strict=True)
    lines = (f"{1_768_673_100 + t},{max(p, 0):.0f},{c:.0f}" for t, p, c in rows)
    return ("time,power,cadence\n" + "\n".join(lines)).encode()
