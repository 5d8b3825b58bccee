"""Make the boathouse trial anew: three recordings and their set-up, byte for byte the same each time.

    python sample_data/boathouse/make.py [folder]

Everything here is invented: rider, evening, devices, makers. What is planted is said in README.md beside this file.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np

if __package__ in (None, ""):  # run as a script: the packages lie two folders up
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from sample_data.fit_writer import activity_file
from sample_data.ride_model import EPOCH_S, Step, Truth, downstream, record, ride, sync_pattern
from sample_data.signals import slow_noise

SEED = 20260117
LOSS_TO_SPIDER_FRAC = 0.002
CHAIN_LOSS_FRAC, CHAIN_LOSS_W = 0.0195, 0.6
COLD_DEGC, WARM_DEGC, WARMING_TAU_S = 6.0, 17.0, 2400.0
CREEP_FRAC_PER_DEGC = 0.0078  # 8.6 % over the 11 degrees of this evening
PEDAL_LAG_S, PEDAL_SMOOTHING_S = 1.6, 3.0
DROPOUT_STEP, DROPOUT_AFTER_S, DROPOUT_S = "hold 160 down", 70.0, 40.0
PAUSE_STEP = "stop"


def _hold(watts: float, name: str, seconds: float = 180.0) -> Step:
    return Step(name=f"hold {watts:g} {name}", duration_s=seconds, target_w=watts)


def _easy(seconds: float, watts: float = 95.0, name: str = "easy") -> Step:
    return Step(name=name, duration_s=seconds, target_w=watts, kind="free", cadence_rpm=84.0)


def _with_rests(steps: list[Step], seconds: float) -> list[Step]:
    return [each for step in steps for each in (step, _easy(seconds))]


PLAN = [
    _easy(60.0, name="roll in"),
    *sync_pattern("opening sync"),
    Step(name="warm-up", duration_s=240.0, target_w=110.0, cadence_rpm=86.0),
    _easy(120.0, 130.0, "warm-up, loose"),
    *_with_rests([_hold(w, "up") for w in (120, 160, 200, 240)], 30.0),
    *_with_rests([_hold(280, "top")], 60.0),
    *_with_rests([_hold(w, "down") for w in (240, 200, 160, 120)], 30.0),
    *[
        Step(name=f"cadence {rpm}", duration_s=120.0, target_w=190.0, cadence_rpm=float(rpm))
        for rpm in (60, 75, 90, 105)
    ],
    _easy(60.0),
    *_with_rests(
        [
            Step(name=f"sprint {i}", duration_s=10.0, target_w=watts, kind="transient", cadence_rpm=rpm)
            for i, (watts, rpm) in enumerate([(640, 98), (700, 112), (660, 100), (720, 115)], 1)
        ],
        80.0,
    ),
    Step(name=PAUSE_STEP, duration_s=70.0, target_w=0.0, kind="idle", cadence_rpm=0.0),
    _easy(240.0, 165.0, "free riding"),
    _hold(160, "again"),
    _easy(30.0),
    *sync_pattern("closing sync"),
    _easy(30.0, name="roll out"),
]


@dataclass(frozen=True, kw_only=True)
class Unit:
    """One sensor with the head unit it was paired to."""

    label: str
    point: str
    claim_pct: float
    firmware: str
    product_name: str
    product: int
    serial: int
    battery_v: float
    how: dict[str, Any] = field(default_factory=dict)  # arguments of `record`


UNITS = (
    Unit(label="hub", point="hub", claim_pct=1.5, firmware="3.10", product_name="Otterthwaite Kelpring", product=61,
         serial=40118, battery_v=3.02, how={"noise_frac": 0.005, "seed": SEED + 1}),
    Unit(label="spider", point="spider", claim_pct=1.5, firmware="1.42", product_name="Dunmarrow Sixleaf", product=14,
         serial=55207, battery_v=2.96,
         how={"gain": 1.004, "clock_ahead_s": -3.4, "from_s": 20.0, "noise_frac": 0.006, "seed": SEED + 2}),
    Unit(label="pedals", point="pedal", claim_pct=1.5, firmware="2.07", product_name="Pellwick Thistletread",
         product=27, serial=71933, battery_v=2.88,
         how={"clock_ahead_s": 7.6, "clock_fast_ppm": 12.0, "lag_s": PEDAL_LAG_S, "smoothing_s": PEDAL_SMOOTHING_S,
              "noise_frac": 0.008, "seed": SEED + 3}),
)  # fmt: skip


def rider_truth() -> Truth:
    """What the rider put into the pedals."""
    return ride(PLAN, seed=SEED, late_s=2.5, temperature_degc=(COLD_DEGC, WARM_DEGC), warming_tau_s=WARMING_TAU_S)


def truth_at(point: str) -> Truth:
    """The same ride at a measuring point of this bike: `pedal`, `spider` or `hub`."""
    at_spider = downstream(rider_truth(), loss_frac=LOSS_TO_SPIDER_FRAC)
    at_hub = downstream(at_spider, loss_frac=CHAIN_LOSS_FRAC, loss_w=CHAIN_LOSS_W)
    return {"pedal": rider_truth(), "spider": at_spider, "hub": at_hub}[point]


def creep_gain(truth: Truth) -> np.ndarray:
    """What the pedals multiply power by as they warm, shape (n,) of `truth`: 1 when cold."""
    return 1.0 + CREEP_FRAC_PER_DEGC * (truth.temperature_degc - COLD_DEGC)


def step_span_s(truth: Truth, name: str) -> tuple[float, float]:
    """True start and end of the steps of that name. [s]"""
    at = truth.time_s[[PLAN[i].name == name for i in truth.step]]
    return float(at[0]), float(at[-1])


def channels(unit: Unit) -> dict[str, np.ndarray]:
    """What the unit wrote, as `record` gives it."""
    truth, how = truth_at(unit.point), dict(unit.how)
    if unit.label == "pedals":
        lost_s = step_span_s(truth, DROPOUT_STEP)[0] + DROPOUT_AFTER_S
        how |= {"gain": creep_gain(truth), "dropouts_s": [(lost_s, lost_s + DROPOUT_S)], "pauses_s": [_pause(truth)]}
    return record(truth, **how)


def _pause(truth: Truth) -> tuple[float, float]:
    """The pedals' head unit stops its timer 5 s after the rider does and starts it a second after he does."""
    still_s, on_s = step_span_s(truth, PAUSE_STEP)
    return still_s + 5.0, on_s + 1.0


def fit_bytes(unit: Unit) -> bytes:
    """The unit's FIT file."""
    columns = channels(unit)
    columns["timestamp"] = np.round(columns.pop("time_s"))
    if unit.label == "pedals":
        rng = np.random.default_rng(SEED + 4)
        right_pct = np.round(50.8 + 0.9 * slow_noise(rng, 10 * len(columns["power_w"]), 20.0)[::10])
        right_side = 0x80  # the flag that says whose share it is
        columns["balance_raw"] = np.where(columns["power_w"] > 0.0, right_side + right_pct, np.nan)
    rows = zip(*(column.tolist() for column in columns.values()), strict=True)
    samples = [dict(zip(columns, row, strict=True)) for row in rows]
    gaps = np.flatnonzero(np.diff(columns["timestamp"]) > 1.5)
    maker = {"manufacturer": 255}  # the profile's number for developments: no maker's own
    return activity_file(
        samples,
        unit=maker | {"product": 5, "serial_number": 900 + unit.product, "software_version": 7.30, "source_type": 5,
                      "product_name": "Mosslamp Ledger"},
        sensors=[
            maker | {"product": unit.product, "serial_number": unit.serial, "software_version": float(unit.firmware),
                     "device_type": 11, "battery_voltage": unit.battery_v, "battery_status": 2, "source_type": 1,
                     "product_name": unit.product_name},
            maker | {"product": 8, "serial_number": 31270, "device_type": 120, "source_type": 1,
                     "product_name": "Mosslamp Ribbon"},
        ],
        pauses=[(columns["timestamp"][i], columns["timestamp"][i + 1]) for i in gaps],
        laps=_lap_presses() if unit.label == "hub" else (),
    )  # fmt: skip


def _lap_presses() -> list[float]:
    """The rider presses the hub unit's lap button as each named step begins."""
    truth = rider_truth()
    names = [PLAN[i].name for i in truth.step]
    begins = [i for i in range(1, len(names)) if names[i] != names[i - 1]]
    return [EPOCH_S + float(np.ceil(truth.time_s[i])) for i in begins]


def setup_text() -> str:
    """setup.toml of the trial; neighbouring steps of one name become one."""
    lines = ["[trial]", 'title = "Boathouse, a cold evening"', 'reference = "hub"', ""]
    lines += ["[drivetrain]", "loss_pct = [1.0, 4.0]", ""]
    for u in UNITS:
        entry = {"label": u.label, "file": f"{u.label}.fit", "point": u.point, "claim_pct": u.claim_pct}
        lines += ["[[device]]", *(f"{k} = {json.dumps(v)}" for k, v in (entry | {"firmware": u.firmware}).items()), ""]
    for name, group in groupby(PLAN, key=lambda step: step.name):
        steps = list(group)
        entry = {"name": name, "duration_s": sum(s.duration_s for s in steps)}
        if len(steps) == 1:
            entry["target_w"] = steps[0].target_w
        entry["kind"] = steps[0].kind
        lines += ["[[plan]]", *(f"{k} = {json.dumps(v)}" for k, v in entry.items()), ""]
    return "\n".join(lines)


def build() -> dict[str, bytes]:
    """Every generated file of the trial: name -> content."""
    return {f"{unit.label}.fit": fit_bytes(unit) for unit in UNITS} | {"setup.toml": setup_text().encode()}


if __name__ == "__main__":
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent
    folder.mkdir(parents=True, exist_ok=True)
    for file_name, content in build().items():
        (folder / file_name).write_bytes(content)
