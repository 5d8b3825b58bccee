"""A ride of an hour with every cause that a trial can show, and devices in which one cause is planted."""

from __future__ import annotations

import numpy as np

from analysis.pipeline import compare
from analysis.setup import DeviceSetup, Setup
from made import recording
from sample_data.ride_model import Step, downstream, record, ride, sync_pattern


def step(name, duration_s, target_w, kind="steady", cadence_rpm=88.0):
    return Step(name=name, duration_s=duration_s, target_w=target_w, kind=kind, cadence_rpm=cadence_rpm)


EASY = step("easy", 60, 130, "free")
PLAN = [
    step("easy", 240, 130, "free"), *sync_pattern(), EASY,
    *(s for w in (120, 160, 200, 240, 280, 240, 200, 160, 120) for s in (step("hold", 180, w), EASY)),
    *(step("cadence", 120, 180, cadence_rpm=c) for c in (60, 75, 90, 105)), step("easy", 400, 140, "free"),
    *(s for _ in range(4) for s in (step("sprint", 10, 700, "transient", 110.0), step("easy", 120, 110, "free"))),
]  # fmt: skip
SETUP = Setup(
    reference="hub",
    devices=(
        DeviceSetup(file="hub", label="hub", point="hub", claim_pct=1.0),
        DeviceSetup(file="device", label="device", point="pedal", claim_pct=1.0),
    ),
    loss_pct=(1.0, 4.0),
)


def findings(seed, change=None):
    truth = ride(PLAN, seed=seed)
    hub = record(downstream(truth, loss_frac=0.025), seed=1000 + seed, noise_frac=0.01)
    device = record(truth, seed=2000 + seed, noise_frac=0.01, clock_ahead_s=0.4, **(change(truth) if change else {}))
    return compare([recording(hub, "hub"), recording(device, "device")], SETUP).findings


def hours(truth):
    return truth.time_s / 3600


def held(truth):
    return np.array([PLAN[i].kind == "steady" for i in truth.step])


PLANTED = {
    "gain": lambda t: {"gain": 1.06},
    "offset": lambda t: {"offset_w": 10.0},
    "steady-bias": lambda t: {"gain": 1 + 0.06 * held(t)},
    "drift": lambda t: {"gain": 1 + 15 * hours(t) / np.maximum(t.power_w, 60)},
    "cadence": lambda t: {"gain": 1 + 0.002 * (t.cadence_rpm - 85)},
    "lag": lambda t: {"lag_s": 1.5},
    "smoothing": lambda t: {"lag_s": 0.0, "smoothing_s": 3.0},
    "dropouts": lambda t: {"dropouts_s": [(800, 830), (1500, 1520)]},
}
