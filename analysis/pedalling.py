"""Balance, torque effectiveness, smoothness, platform offset and power phase of the recordings that carry them.

By block, by kind, and one recording against another where like may be held against like. From the samples as recorded while
power is made. Angles in degrees, 0 at the top, by circular statistics.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy import special

from analysis.blocks import Block
from analysis.consensus import IDLE_W
from analysis.traces import Floats
from analysis.trial import AlignedRecording, Trial

MIN_SAMPLES = 10
MIN_BLOCKS = 3
KINDS = ("steady", "transient", "free")
LEVEL = 0.95
CIRCLE_DEG = 360.0


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """What a channel means and what it must not be held against; `scale` brings it to `unit`."""

    name: str
    channel: str
    unit: str
    scale: float
    mean: str  # "by work", "plain" or "circular"
    definition: str
    not_with: str


_SIDES = ("left", "right")
_NOT_BALANCE = (
    "A spider that splits the revolution into halves tells the half-revolutions apart, not the legs; its balance is no like for "
    "that of pedals or of two crank arms."
)
_NOT_EFFECTIVENESS = "Two formulas are about, (P+ − |P−|)/P+ and P+/(P+ + |P−|); the same stroke gives 90 and 90.9 %."
_NOT_SMOOTHNESS = "One side alone gives about half of what both sides give as one; never mix the two."
_NOT_OFFSET = "Depends on cleat, shoe and fit; only the same shoes in the same place may be compared, by the same sign."
_NOT_PHASE = "Makers set the zero and the threshold of driving force differently; compare changes rather than angles."
QUANTITIES = (
    Quantity(name="left share", channel="left_share_frac", unit="%", scale=100, mean="by work", not_with=_NOT_BALANCE,
             definition="Share of the power that the left side makes, weighted by power."),
    Quantity(name="share of one side", channel="one_side_share_frac", unit="%", scale=100, mean="by work",
             not_with="The file does not say which side is meant, so it is held against nothing.",
             definition="Share of the power of one side that is not named, weighted by power."),
    *(Quantity(name=f"{side} torque effectiveness", channel=f"{side}_torque_effectiveness_frac", unit="%", scale=100,
               mean="plain", not_with=_NOT_EFFECTIVENESS, definition=f"Share of the {side} side's torque that drives.")
      for side in _SIDES),
    *(Quantity(name=f"{side} pedal smoothness", channel=f"{side}_smoothness_frac", unit="%", scale=100, mean="plain",
               not_with=_NOT_SMOOTHNESS, definition=f"Mean over peak power of a revolution, {side} side.") for side in _SIDES),
    Quantity(name="combined pedal smoothness", channel="combined_smoothness_frac", unit="%", scale=100, mean="plain",
             not_with=_NOT_SMOOTHNESS, definition="Mean over peak power of a revolution, both sides as one."),
    *(Quantity(name=f"{side} platform centre offset", channel=f"{side}_platform_offset_mm", unit="mm", scale=1, mean="plain",
               not_with=_NOT_OFFSET, definition=f"Where the force acts on the {side} pedal, from its middle outwards.")
      for side in _SIDES),
    *(Quantity(name=f"{side} {name} {end}", channel=f"{side}_{channel}_{end}_deg", unit="°", scale=1, mean="circular",
               not_with=_NOT_PHASE, definition=f"Crank angle at which the {side} leg's {name} {words}, 0 at the top.")
      for side in _SIDES for name, channel in (("power phase", "phase"), ("peak power phase", "peak_phase"))
      for end, words in (("start", "begins"), ("end", "ends"))),
)  # fmt: skip
_COMPARED = frozenset(q.name for q in QUANTITIES) - {"share of one side"}


@dataclass(frozen=True, kw_only=True)
class Value:
    """One quantity over one block (`block`) or over all of a kind (`kind`, block None).

    sd : of the samples; for angles the circular standard deviation. n : samples.
    """

    label: str
    quantity: str
    unit: str
    kind: str
    block: str | None
    mean: float
    sd: float
    n: int


@dataclass(frozen=True, kw_only=True)
class Difference:
    """One recording minus another over the blocks that both carry, which are the replicates."""

    label: str
    against: str
    quantity: str
    unit: str
    blocks: int
    delta: float
    delta_ci: tuple[float, float]
    comparable: bool
    why: str


@dataclass(frozen=True, kw_only=True)
class Pedalling:
    """Everything of one trial; empty where no recording carries such a channel."""

    values: tuple[Value, ...]
    differences: tuple[Difference, ...]
    definitions: tuple[Quantity, ...]


def pedalling_of(trial: Trial, blocks: Sequence[Block]) -> Pedalling:
    """Values by block and by kind of every recording, and their differences."""
    ridden = [b for b in blocks if b.kind in KINDS]
    values = tuple(v for r in trial.recordings for q in QUANTITIES for v in _values(r, q, ridden))
    used = {v.quantity for v in values}
    return Pedalling(
        values=values, differences=tuple(_differences(trial, values)), definitions=tuple(q for q in QUANTITIES if q.name in used)
    )


def mean_left_share(trial: Trial, *, without: str) -> tuple[float, str] | None:
    """Left share over the trial, weighted by power, from the first other recording that says it, and that one's label."""
    for recording in trial.recordings:
        share = recording.channels.get("left_share_frac")
        if recording.label != without and share is not None:
            power = recording.channels["power_w"]
            there = np.isfinite(share) & np.isfinite(power) & (power > IDLE_W)
            if there.sum() >= MIN_SAMPLES:
                return float(np.average(share[there], weights=power[there])), recording.label
    return None


def circular_mean_sd(angle_deg: Floats, weight: Floats | None = None) -> tuple[float, float]:
    """Mean direction in [0, 360) and circular standard deviation sqrt(-2 ln R). [deg]

    Mardia and Jupp, Directional Statistics, 2000, section 2.3 (from memory).
    """
    turned = np.exp(1j * np.deg2rad(angle_deg))
    mean = np.average(turned, weights=weight)
    length = min(max(float(np.abs(mean)), 1e-12), 1.0)
    return float(np.rad2deg(np.angle(mean)) % CIRCLE_DEG), math.degrees(math.sqrt(-2 * math.log(length)))


def arc_deg(start_deg: float, end_deg: float) -> float:
    """How far it is from start to end the way the crank turns, past the top where it must be, in [0, 360). [deg]"""
    return (end_deg - start_deg) % CIRCLE_DEG


def angle_between(first_deg: float, second_deg: float) -> float:
    """First minus second the short way round, in (-180, 180]. [deg]"""
    turn = (first_deg - second_deg) % CIRCLE_DEG
    return turn - CIRCLE_DEG if turn > CIRCLE_DEG / 2 else turn


def _values(recording: AlignedRecording, quantity: Quantity, blocks: Sequence[Block]) -> Iterable[Value]:
    samples = recording.channels.get(quantity.channel)
    if samples is None or not blocks:
        return
    power, time = recording.channels["power_w"], recording.time_s
    used = np.isfinite(samples) & np.isfinite(power) & (power > IDLE_W)
    x, weight, time = quantity.scale * samples[used], power[used], time[used]
    place = np.full(time.size, -1)
    edges = np.searchsorted(time, [(b.start_s, b.end_s) for b in blocks])
    for i, (first, last) in enumerate(edges):
        place[first:last] = i
        if last - first >= MIN_SAMPLES:
            yield _value(recording.label, quantity, blocks[i].kind, blocks[i].id, x[first:last], weight[first:last])
    for kind in KINDS:
        chosen = np.isin(place, [i for i, b in enumerate(blocks) if b.kind == kind])
        if chosen.sum() >= MIN_SAMPLES:
            yield _value(recording.label, quantity, kind, None, x[chosen], weight[chosen])


def _value(label: str, quantity: Quantity, kind: str, block: str | None, x: Floats, weight: Floats) -> Value:
    if quantity.mean == "circular":
        mean, sd = circular_mean_sd(x)
    else:
        w = weight if quantity.mean == "by work" else None
        mean = float(np.average(x, weights=w))
        sd = math.sqrt(float(np.average((x - mean) ** 2, weights=w)))
    return Value(label=label, quantity=quantity.name, unit=quantity.unit, kind=kind, block=block, mean=mean, sd=sd, n=x.size)


def _differences(trial: Trial, values: Sequence[Value]) -> Iterable[Difference]:
    by_block = {(v.label, v.quantity, v.block): v.mean for v in values if v.block is not None}
    for quantity in QUANTITIES:
        if quantity.name not in _COMPARED:
            continue
        for against, label in combinations(trial.labels, 2):
            ids = [b for (one, q, b) in by_block if (one, q) == (label, quantity.name)
                   and (against, quantity.name, b) in by_block]  # fmt: skip
            if len(ids) < MIN_BLOCKS:
                continue
            pairs = [(by_block[label, quantity.name, b], by_block[against, quantity.name, b]) for b in ids]
            delta = np.array([angle_between(*p) if quantity.mean == "circular" else p[0] - p[1] for p in pairs])
            half = float(special.stdtrit(delta.size - 1, (1 + LEVEL) / 2)) * float(delta.std(ddof=1)) / math.sqrt(delta.size)
            mean = float(delta.mean())
            comparable, why = _comparable(trial, quantity, label, against)
            yield Difference(
                label=label, against=against, quantity=quantity.name, unit=quantity.unit, blocks=delta.size, delta=mean,
                delta_ci=(mean - half, mean + half), comparable=comparable, why=why,
            )  # fmt: skip


def _comparable(trial: Trial, quantity: Quantity, label: str, against: str) -> tuple[bool, str]:
    points = [trial.recording(one).point for one in (label, against)]
    if quantity.name == "left share" and (("spider" in points and points[0] != points[1]) or None in points):
        return False, quantity.not_with
    return True, quantity.not_with
