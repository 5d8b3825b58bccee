"""One power trace out of all recordings, so that no single device's bias, smoothing or drop-out decides where a block is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.traces import Floats
from analysis.trial import Trial

# Below this nobody is pedalling in earnest; recorders write 0 to a few watts while coasting. Common practice, no source.
IDLE_W = 15.0


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
    """Median over the recordings (mean of two), each first scaled to the common level.

    The scaling takes out a device's gain, so that a hole in its recording leaves no step behind.
    """
    power = np.stack([trial.per_second(label) for label in trial.labels])
    cadence = np.stack([trial.per_second(label, "cadence_rpm") for label in trial.labels])
    return Consensus(
        second_s=trial.second_s,
        power_w=_middle(power * _scales(power)[:, None]),
        cadence_rpm=_middle(cadence),
        recordings_n=np.isfinite(power).sum(axis=0),
    )


def _scales(power_w: Floats) -> Floats:
    """Factor that brings each row to the geometric mean level of all, from the seconds in which all pedal."""
    pedalling = (np.where(np.isfinite(power_w), power_w, 0.0) > 2 * IDLE_W).all(axis=0)
    if pedalling.sum() < 30:
        return np.ones(len(power_w))
    level = np.median(power_w[:, pedalling] / power_w[:, pedalling].mean(axis=0), axis=1)
    return np.exp(np.mean(np.log(level))) / level


def _middle(rows: Floats) -> Floats:
    """Column medians without NaN, NaN where a column has no value."""
    ordered = np.sort(rows, axis=0)  # NaN goes last
    count = np.isfinite(rows).sum(axis=0)
    column = np.arange(rows.shape[1])
    low, high = np.maximum(count - 1, 0) // 2, count // 2
    high = np.minimum(high, np.maximum(count - 1, 0))
    return np.where(count > 0, (ordered[low, column] + ordered[high, column]) / 2, np.nan)
