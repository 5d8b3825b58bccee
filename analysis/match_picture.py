"""The stretch of a ride that shows best whether two clocks agree: its sharpest common change of power."""

from __future__ import annotations

import numpy as np

from analysis.refining import SMOOTHING
from analysis.traces import Floats
from analysis.trial import Trial

# Seconds before and after the change: a sprint or an edge with what surrounds it.
BEFORE_S, AFTER_S = 15, 25


def show_stretch(trial: Trial, label: str) -> tuple[float, float] | None:
    """Start and end on the trial's clock; None where the two share no such stretch without a hole. [s]"""
    device, reference = (_smoothed(trial.per_second(o)) for o in (label, trial.reference))
    length = BEFORE_S + AFTER_S
    if device.size < length + 2:
        return None
    # both must move: an edge that one of them missed shows nothing
    steepness = np.minimum(np.abs(np.gradient(device)), np.abs(np.gradient(reference)))
    holes = np.concatenate(([0], np.cumsum(~np.isfinite(steepness))))
    whole = holes[length:] == holes[:-length]
    middle = np.arange(whole.size) + BEFORE_S
    score = np.where(whole, np.nan_to_num(steepness[middle]), 0.0)
    best = int(np.argmax(score))
    if score[best] <= 0:
        return None
    start = float(trial.second_s[best])
    return start, start + length


def _smoothed(values: Floats) -> Floats:
    half = SMOOTHING.size // 2
    out = np.full(values.size, np.nan)
    if values.size >= SMOOTHING.size:
        out[half:-half] = np.convolve(values, SMOOTHING, mode="valid")
    return out
