"""One power trace out of all recordings, so that no single device's bias, smoothing or drop-out decides where a block is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.traces import Floats
from analysis.trial import Trial

# Below this nobody is pedalling in earnest; recorders write 0 to a few watts while coasting. Common practice, no source.
IDLE_W = 15.0
# Devices are brought together by these percentiles of what they read while all pedal, at least so long; where a ride spans less
# than this share of its level, by the middle one alone.
SPAN_PCT = (15.0, 50.0, 85.0)
MIN_SPAN_FRAC = 0.3
MIN_SHARED_S = 30


@dataclass(frozen=True, kw_only=True)
class Consensus:
    """Per whole second of the trial, shape (n,): power and cadence that the recordings agree on, and how many have power.

    power_w and cadence_rpm are NaN where no recording has a value.
    """

    second_s: Floats
    power_w: Floats
    cadence_rpm: Floats
    recordings_n: np.ndarray


def consensus_of(trial: Trial) -> Consensus:
    """Median over the recordings (mean of two), each first brought to the common level and span.

    That takes out a device's gain and offset, so that a hole in its recording leaves no step behind and a bias moves no edge.
    """
    power = np.stack([trial.per_second(label) for label in trial.labels])
    cadence = np.stack([trial.per_second(label, "cadence_rpm") for label in trial.labels])
    return Consensus(
        second_s=trial.second_s,
        power_w=_middle(_brought_together(power)),
        cadence_rpm=_middle(cadence),
        recordings_n=np.isfinite(power).sum(axis=0),
    )


def _brought_together(power_w: Floats) -> Floats:
    """Rows mapped by straight lines to the middle of all, from the seconds in which all pedal; coasting stays as it is."""
    pedalling = (np.where(np.isfinite(power_w), power_w, 0.0) > 2 * IDLE_W).all(axis=0)
    if pedalling.sum() < MIN_SHARED_S:
        return power_w
    low, centre, high = np.percentile(power_w[:, pedalling], SPAN_PCT, axis=1)
    low_m, centre_m, high_m = (float(np.median(level)) for level in (low, centre, high))
    wide = (high - low > MIN_SPAN_FRAC * centre) & (high_m - low_m > MIN_SPAN_FRAC * centre_m)
    gain = np.where(wide, (high - low) / max(high_m - low_m, 1.0), centre / centre_m)
    offset = centre - gain * centre_m
    common = (power_w - offset[:, None]) / gain[:, None]
    return np.where(power_w > IDLE_W, np.maximum(common, 0.0), power_w)


def _middle(rows: Floats) -> Floats:
    """Column medians without NaN, NaN where a column has no value."""
    ordered = np.sort(rows, axis=0)  # NaN goes last
    count = np.isfinite(rows).sum(axis=0)
    column = np.arange(rows.shape[1])
    low, high = np.maximum(count - 1, 0) // 2, count // 2
    high = np.minimum(high, np.maximum(count - 1, 0))
    return np.where(count > 0, (ordered[low, column] + ordered[high, column]) / 2, np.nan)
