"""The last step of every format: order the clock, decide which channels carry a signal, write down what was odd."""

from __future__ import annotations

import hashlib
from typing import Any

import numpy as np
import pandas as pd

from analysis.errors import UnreadableFile
from analysis.reading import clock
from analysis.reading.health import health
from analysis.reading.naming import first_guesses
from analysis.reading.recording import CHANNELS, Recording

# A reading of zero throughout means nothing here: 0 deg C can last a whole winter ride.
ZERO_MAY_BE_REAL = frozenset({"temperature_degc"})
# No rider makes these and no healthy file holds them: "not recorded" written as 65535 or 255 by another program, or damaged
# bytes. Sprints of track riders reach some 2500 W (from memory); the other two are what one byte of a sensor can say.
BEYOND_BELIEF = {"power_w": 5000.0, "cadence_rpm": 255.0, "heart_rate_bpm": 255.0}
USUAL_INTERVAL_S = 1.0
INTERVAL_TOLERANCE_S = 0.05


def assemble(
    *,
    data: bytes,
    name: str,
    format: str,
    time_s: np.ndarray,
    values: pd.DataFrame,
    absolute_clock: bool = True,
    facts: dict[str, Any] | None = None,
    warnings: tuple[str, ...] | list[str] = (),
) -> Recording:
    """Make a Recording of n rows of values and their stamps (NaN: none). Raises UnreadableFile when nothing is left."""
    values, unbelievable = _believed(values[[c for c in CHANNELS if c in values]])
    samples, settled = clock.settle(time_s, values)
    if len(samples) < 2:
        raise UnreadableFile(
            f"{name} holds {len(samples)} samples with a time stamp, at least 2 are needed; "
            "choose the file of a recorded ride, not a settings or workout file."
        )
    said = [*warnings, *unbelievable, *settled.warnings]
    usable, silent = _usable(samples)
    if silent:
        said.append(f"No sensor for {', '.join(silent)}: zero throughout.")
    interval_s = float(np.median(np.diff(samples["time_s"].to_numpy())))
    if abs(interval_s - USUAL_INTERVAL_S) > INTERVAL_TOLERANCE_S:
        coarse = "; too coarse to compare second by second" if interval_s > USUAL_INTERVAL_S else ""
        said.append(f"Not a 1 Hz recording: the median step is {interval_s:.3g} s{coarse}.")
    if not absolute_clock:
        said.append("The time stamps count from a start and say nothing of the date; align this recording by a signal.")
    known = dict(facts or {})
    report = health(samples, interval_s=interval_s, timer_stops=known.get("timer_stops", []))
    said += [line.text for line in report if line.notable]
    known["health"] = [line.to_dict() for line in report]
    known["clock"] = {"repeated": settled.repeated, "backward": settled.backward}
    known["records_read"] = len(values)
    known |= first_guesses(name, known)
    return Recording(
        name=name,
        sha256=hashlib.sha256(data).hexdigest(),
        format=format,
        samples=samples,
        channels=tuple(usable),
        interval_s=interval_s,
        absolute_clock=absolute_clock,
        facts=known,
        warnings=tuple(said),
    )


def _believed(values: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Values that cannot be readings taken as not recorded, and what is said of them."""
    said = []
    for channel, least in BEYOND_BELIEF.items():
        if channel not in values:
            continue
        false = values[channel].to_numpy() >= least
        if false.any():
            what, unit = CHANNELS[channel].rstrip("]").split(" [")
            n = "1 value" if false.sum() == 1 else f"{false.sum()} values"
            said.append(f"{n} of {what} at or above {least:g} {unit} cannot be readings and count as not recorded.")
            values = values.assign(**{channel: values[channel].mask(false)})
    return values, said


def _usable(samples: pd.DataFrame) -> tuple[list[str], list[str]]:
    usable, silent = [], []
    for channel in samples.columns.drop("time_s"):
        column = samples[channel].to_numpy()
        recorded = column[np.isfinite(column)]
        if not recorded.size:
            continue
        if recorded.any() or channel in ZERO_MAY_BE_REAL:
            usable.append(channel)
        else:
            silent.append(CHANNELS[channel].split(" [")[0])
    return usable, silent
