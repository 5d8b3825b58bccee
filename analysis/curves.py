"""Delta against power, cadence, torque, temperature, time and left share: binned curves with 95 % bands.

Percent of the reference; from pieces of held and freely ridden blocks, which are the replicates within a bin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from analysis.blocks import Block
from analysis.causes import Pieces, pieces_of
from analysis.traces import Floats
from analysis.trial import Trial

PIECE_S = 30.0
MAX_BINS = 12
MIN_IN_BIN = 4
LEVEL = 0.95
# A shorter range carries no curve: power [W], cadence [rpm], torque [N m], temperature [deg C], time [min], left share [%].
MIN_RANGE = {"power": 20.0, "cadence": 10.0, "torque": 3.0, "temperature": 2.0, "time": 5.0, "left share": 1.0}
UNITS = {"power": "W", "cadence": "rpm", "torque": "N·m", "temperature": "°C", "time": "min", "left share": "%"}


@dataclass(frozen=True, kw_only=True)
class Curve:
    """Delta in each bin of one quantity: x is the bin's mean, n its pieces; low and high its 95 % band."""

    label: str
    against: str
    unit: str
    x: tuple[float, ...]
    delta_pct: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    n: tuple[int, ...]


def curves_of(trial: Trial, label: str, blocks: Sequence[Block]) -> tuple[Curve, ...]:
    """Every curve that the ride's range carries, of one device."""
    pieces = pieces_of(trial, label, blocks, piece_s=PIECE_S)
    found = (_curve(label, against, x, pieces) for against, x in _axes(pieces).items())
    return tuple(c for c in found if c is not None)


def torque_nm(power_w: Floats, cadence_rpm: Floats) -> Floats:
    """Power over angular velocity, NaN where nothing turns. [N m]"""
    turning = np.nan_to_num(cadence_rpm) > 0
    return np.divide(power_w, 2 * np.pi * cadence_rpm / 60, out=np.full(power_w.size, np.nan), where=turning)


def _axes(p: Pieces) -> dict[str, Floats]:
    return {
        # the mean of both, because bins of one device's own reading sort its noise
        "power": p.reference_w + p.delta_w / 2,
        "cadence": p.cadence_rpm,
        "torque": torque_nm(p.reference_w + p.delta_w / 2, p.cadence_rpm),
        "temperature": p.temperature_degc,
        "time": 60 * p.hour,
        "left share": 100 * p.left_share_frac,
    }


def _curve(label: str, against: str, x: Floats, p: Pieces) -> Curve | None:
    there = np.isfinite(x)
    x, device, reference = x[there], ((p.reference_w + p.delta_w) * p.seconds)[there], (p.reference_w * p.seconds)[there]
    if x.size < 2 * MIN_IN_BIN or np.ptp(x) < MIN_RANGE[against]:
        return None
    order = np.argsort(x, kind="stable")
    groups = np.array_split(order, min(MAX_BINS, x.size // MIN_IN_BIN))
    middle, delta, half, count = (np.array(v) for v in zip(*(_bin(x[g], device[g], reference[g]) for g in groups), strict=True))
    return Curve(
        label=label, against=against, unit=UNITS[against], x=tuple(middle.tolist()), delta_pct=tuple(delta.tolist()),
        low=tuple((delta - half).tolist()), high=tuple((delta + half).tolist()), n=tuple(int(c) for c in count),
    )  # fmt: skip


def _bin(x: Floats, device: Floats, reference: Floats) -> tuple[float, float, float, int]:
    """Mean place, ratio of works less one, and its half-width with the pieces as clusters. [unit of x, %, %]"""
    k, total = x.size, float(reference.sum())
    ratio = float(device.sum()) / total
    error = np.sqrt(k / (k - 1)) * float(np.linalg.norm(device - ratio * reference)) / total
    return float(x.mean()), 100 * (ratio - 1), 100 * float(special.stdtrit(k - 1, (1 + LEVEL) / 2)) * error, k
