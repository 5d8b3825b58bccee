"""Pairs of recordings of one generated ride with a planted clock, for the tests of aligning."""

from __future__ import annotations

import numpy as np

from made import recording, without
from sample_data.ride_model import hold_plan, record, ride

PLAN = hold_plan([150, 200, 250, 180])
LONG_PLAN = hold_plan([150, 200, 250, 180, 150, 220, 260, 180, 200, 160, 240, 120, 210, 170, 230, 190])
POWER_ONLY = ("heart_rate_bpm", "cadence_rpm", "temperature_degc")


def arrays(seed, *, plan=PLAN, **device):
    """Device and reference as `record` gives them; the reference's clock is right."""
    truth = ride(plan, seed=seed)
    reference = record(truth, seed=1000 + seed, noise_frac=0.01)
    return record(truth, seed=2000 + seed, noise_frac=0.01, **device), reference


def pair(seed, *, drop=(), plan=PLAN, **device):
    """The same as recordings, less the channels in `drop`."""
    other, reference = arrays(seed, plan=plan, **device)
    return recording(without(other, *drop), "device"), recording(without(reference, *drop), "reference")


def thinned(channels, seed, *, shortest=3, longest=7):
    """Only a sample every few seconds, irregularly, as recorders that write on change do."""
    steps = np.random.default_rng(seed).integers(shortest, longest + 1, channels["time_s"].size)
    kept = np.cumsum(steps)
    return {name: values[kept[kept < values.size]] for name, values in channels.items()}


def clock_stopped(channels, at_s, length_s):
    """What a recorder writes whose stamps stand still in a pause: nothing for so long, and then as if nothing had been."""
    since = channels["time_s"] - channels["time_s"][0]
    kept, later = (since < at_s) | (since >= at_s + length_s), since >= at_s + length_s
    out = {**channels, "time_s": np.where(later, channels["time_s"] - length_s, channels["time_s"])}
    return {name: values[kept] for name, values in out.items()}
