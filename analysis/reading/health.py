"""Health of one recording: is it regular, what is missing and why, does the power look measured?

Reads the samples in order of time and the timer stops; gives lines with a count and the first place. Nothing is repaired
or left out here. The thresholds that have no source say what they were held against: six real rides of 12 to 390 min.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

from analysis.reading.phrases import place, samples, span, times

# A step up to this many intervals is a skipped sample, beyond it a hole.
SKIP_INTERVALS = 2.5
SHORTEST_HOLE_S = 1.5  # for recorders faster than 1 Hz: within a second nothing is called a hole
REGULAR_WITHIN = 0.1  # of the interval; a step outside it is irregular
REGULAR_SHARE = 0.98
STOP_SLACK_S = 5.0  # stop events are written up to some seconds beside the last sample
# The longest run of one non-zero value in the real rides is 6 samples; 8 is not how a sensor at 1 Hz looks.
HELD_SAMPLES = 8
# Share of steps that change nothing while power is made: 2 to 16 % in the real rides.
CONSTANT_SHARE = 0.5
SPIKE_W = 250.0  # above both neighbours, and twice the higher one: not what legs do within a second
SPIKE_RPM, FASTEST_RPM = 60.0, 150.0  # only above what is held outside a sprint: starts and stops jump as well
MIN_LEVELS = 15  # fewer different values say nothing of the step between them
PEDALLING_RPM = 30.0
# Work that the sensor counted and the samples lack: below these it is rounding and the ends of the file.
LOST_WORK_FRAC, LOST_WORK_S = 0.005, 10.0


@dataclass(frozen=True, kw_only=True)
class HealthLine:
    """One observation. `first_s`: seconds after the first sample, None where it has no place. `notable`: worth a warning."""

    code: str
    count: int
    first_s: float | None
    text: str
    notable: bool = True

    def to_dict(self) -> dict[str, Any]:
        """JSON-able."""
        return asdict(self)


def health(samples: pd.DataFrame, *, interval_s: float, timer_stops: list[list[float]]) -> list[HealthLine]:
    """Every observation on one recording, in the order: clock, holes, power.

    samples : `time_s` ascending and unique, and channels. timer_stops : [start, end] after the first sample. [s]
    """
    time_s = samples["time_s"].to_numpy()
    after_s = time_s - time_s[0]
    step_s = np.diff(time_s)
    lines = [_rate(step_s, interval_s), *_holes(after_s, step_s, interval_s, timer_stops)]
    if "power_w" in samples:
        power_w = samples["power_w"].to_numpy()
        if np.nan_to_num(power_w).any():
            close = step_s <= SKIP_INTERVALS * interval_s
            cadence = samples["cadence_rpm"].to_numpy() if "cadence_rpm" in samples else None
            lines += _missing(power_w, after_s)
            lines += _zeros(power_w, cadence, after_s)
            lines += _held(power_w, after_s, close)
            lines += _spikes(power_w, after_s, close, "power [W]", SPIKE_W, 0.0)
            lines += _resolution(power_w)
            lines += _lost_work(samples, power_w, step_s, interval_s)
            if cadence is not None:
                lines += _spikes(cadence, after_s, close, "cadence [rpm]", SPIKE_RPM, FASTEST_RPM)
    return lines


def _rate(step_s: np.ndarray, interval_s: float) -> HealthLine:
    near = step_s[step_s <= SKIP_INTERVALS * interval_s]
    regular = np.abs(near - interval_s) <= REGULAR_WITHIN * interval_s
    share = float(regular.mean()) if near.size else 0.0
    odd = int((~regular).sum())
    return HealthLine(
        code="rate",
        count=odd,
        first_s=None,
        text=f"{odd or 'None'} of {near.size} steps between samples {'are' if odd > 1 else 'is'} other than {interval_s:.3g} s.",
        notable=share < REGULAR_SHARE,
    )


def _holes(after_s: np.ndarray, step_s: np.ndarray, interval_s: float, stops: list[list[float]]) -> list[HealthLine]:
    """Steps longer than the interval, told apart: timer stopped, drop-out, single samples skipped."""
    hole = np.flatnonzero(step_s > np.maximum(SKIP_INTERVALS * interval_s, SHORTEST_HOLE_S))
    stopped = np.zeros(len(hole), dtype=bool)
    if stops and hole.size:
        begin, end = np.array(stops, dtype=float).T
        # A hole belongs to a stop that overlaps it.
        first = np.searchsorted(end, after_s[hole] - STOP_SLACK_S)
        inside = first < len(begin)
        stopped[inside] = begin[first[inside]] <= after_s[hole + 1][inside] + STOP_SLACK_S
    lines = []
    for code, which, one, many, why in (
        ("pause", hole[stopped], "pause", "pauses", "the timer was stopped"),
        ("dropout", hole[~stopped], "hole", "holes", "no timer stop says why: drop-out, or recorder off"),
    ):
        if which.size:
            lost = float((step_s[which] - interval_s).sum())
            longest = float(step_s[which].max() - interval_s)
            lines.append(
                HealthLine(
                    code=code,
                    count=int(which.size),
                    first_s=float(after_s[which[0]]),
                    text=f"{which.size} {one if which.size == 1 else many} of {span(lost)} in all ({why}), the longest "
                    f"{span(longest)}; first at {place(after_s[which[0]])}.",
                )
            )
    skipped = np.flatnonzero((step_s > 1.5 * interval_s) & (step_s <= SKIP_INTERVALS * interval_s))
    if skipped.size:
        lines.append(_line("skipped", skipped, after_s, "Single samples skipped: {n}; first at {at}."))
    return lines


def _missing(power_w: np.ndarray, after_s: np.ndarray) -> list[HealthLine]:
    missing = np.flatnonzero(~np.isfinite(power_w))
    if not missing.size:
        return []
    return [_line("missing", missing, after_s, f"Power is missing in {{n}} of {len(power_w)} samples; first at {{at}}.")]


def _zeros(power_w: np.ndarray, cadence: np.ndarray | None, after_s: np.ndarray) -> list[HealthLine]:
    """How zeros are used: for not pedalling, for drop-outs, or never."""
    zero = power_w == 0
    if cadence is None:
        text = "Power is zero in {samples}; no cadence tells whether the rider pedalled."
        return [_line("zeros", np.flatnonzero(zero), after_s, text, notable=False)]
    idle = cadence == 0
    while_pedalling = np.flatnonzero(zero & (cadence > PEDALLING_RPM))
    at_rest = np.flatnonzero(zero & idle)
    lines = [_line("zeros", at_rest, after_s, "Power is zero in {samples} while not pedalling.", notable=False)]
    if while_pedalling.size:
        text = "Power is zero in {samples} while the cadence says pedalling; first at {at}."
        lines.append(_line("zero-pedalling", while_pedalling, after_s, text))
    if idle.sum() >= HELD_SAMPLES and not zero.any():
        text = "Power is never zero, not even in the {samples} without cadence: zeros are left out or held; first at {at}."
        lines.append(_line("no-zeros", np.flatnonzero(idle), after_s, text))
    return lines


def _held(power_w: np.ndarray, after_s: np.ndarray, close: np.ndarray) -> list[HealthLine]:
    """Runs of one value while power is made; and power that hardly ever changes."""
    same = (power_w[1:] == power_w[:-1]) & (power_w[1:] > 0) & close
    edges = np.flatnonzero(np.diff(np.concatenate([[False], same, [False]]).astype(np.int8)))
    starts, lengths = edges[::2], edges[1::2] - edges[::2] + 1
    made = int(((power_w[1:] > 0) & close).sum())
    lines = []
    if made and same.sum() > CONSTANT_SHARE * made:
        share = 100 * same.sum() / made
        text = f"In {share:.0f} % of the samples the power equals the one before ({{n}}): set or smoothed, not measured."
        lines.append(_line("constant", np.flatnonzero(same), after_s, text))
    long = lengths >= HELD_SAMPLES
    if long.any():
        text = f"The power stands still at one value {{times}} for {HELD_SAMPLES} samples or more, the longest for "
        lines.append(_line("held", starts[long], after_s, text + f"{lengths.max()}; first at {{at}}."))
    return lines


def _spikes(
    values: np.ndarray, after_s: np.ndarray, close: np.ndarray, what: str, excess: float, floor: float
) -> list[HealthLine]:
    """Single samples above `floor` and far above both neighbours; `what` is a quantity with its unit in brackets."""
    neighbours = np.maximum(values[:-2], values[2:])
    with np.errstate(invalid="ignore"):
        far = values[1:-1] > np.maximum(np.maximum(neighbours + excess, 2 * neighbours), floor)
    at = np.flatnonzero(far & close[1:] & close[:-1]) + 1
    if not at.size:
        return []
    name, unit = what.rstrip("]").split(" [")
    text = f"Spikes of {name}, single samples of up to {values[at].max():.0f} {unit}: {{n}}; first at {{at}}."
    return [_line(f"spike-{name}", at, after_s, text)]


def _resolution(power_w: np.ndarray) -> list[HealthLine]:
    values = np.unique(power_w[np.isfinite(power_w)])
    if len(values) < MIN_LEVELS or not (values == np.floor(values)).all():
        return []
    step_w = int(np.gcd.reduce(values.astype(np.int64)))
    text = f"The power moves in steps of {step_w} W." if step_w > 1 else "The power stands in whole watts."
    return [HealthLine(code="resolution", count=len(values), first_s=None, text=text, notable=step_w > 1)]


def _lost_work(samples: pd.DataFrame, power_w: np.ndarray, step_s: np.ndarray, interval_s: float) -> list[HealthLine]:
    """The sensor's own running total against the samples: what it counted and nobody wrote down."""
    if "accumulated_work_j" not in samples:
        return []
    total_j = samples["accumulated_work_j"].to_numpy()
    rise_j = np.diff(total_j)
    known = np.isfinite(rise_j) & (rise_j >= 0)  # a fall is a sensor that started anew
    if not known.any() or interval_s > 1.5:
        return []
    held_s = np.minimum(step_s, interval_s)
    recorded_j = float(np.nansum((power_w[1:] * held_s)[known]))
    counted_j = float(rise_j[known].sum())
    mean_w = float(np.nanmean(power_w[power_w > 0]))
    lost_s = (counted_j - recorded_j) / mean_w
    notable = abs(lost_s) > LOST_WORK_S and abs(counted_j - recorded_j) > LOST_WORK_FRAC * counted_j
    more = "above" if lost_s >= 0 else "below"
    text = (
        f"The sensor's own running total is {abs(counted_j - recorded_j) / 1000:.1f} kJ {more} the recorded samples "
        f"({100 * abs(counted_j - recorded_j) / max(counted_j, 1.0):.1f} %), worth about {span(abs(lost_s))} of pedalling."
    )
    return [HealthLine(code="lost-work", count=round(abs(lost_s)), first_s=None, text=text, notable=notable)]


def _line(code: str, rows: np.ndarray, after_s: np.ndarray, text: str, *, notable: bool = True) -> HealthLine:
    """Line on the samples `rows`; {n}, {samples}, {times} and {at} in the text stand for their number and the first place."""
    first = float(after_s[rows[0]]) if rows.size else None
    n = int(rows.size)
    said = text.format(n=n, samples=samples(n), times=times(n), at="-" if first is None else place(first))
    return HealthLine(code=code, count=int(rows.size), first_s=first, text=said, notable=notable)
