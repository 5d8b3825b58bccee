"""A ride whose truth is known, and what an imperfect device writes of it: for the built-in trial and for tests.

`ride(plan, seed=...)` gives the truth at 10 Hz; `record(truth, ...)` gives one device's channels on its own clock,
with a known gain, offset, clock error, response lag, smoothing, noise and holes. Pure functions, numpy only; the same
seed gives the same arrays. The numbers of the rider (noise, heart rate, surges) are plausible inventions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sample_data.signals import TRUTH_HZ, inside, noise, profile, slow_noise, window_mean

EPOCH_S = 1_768_673_100.0  # 2026-01-17T18:05:00Z, an invented evening. [Unix s]

# 1 s power of a held effort: 3 % noise with lag-1 correlation about .8, as the ride plan's forecast assumes
# (common practice, no source); the slow wander is the rider's pacing.
RIDER_NOISE_FRAC, RIDER_NOISE_TAU_S = 0.035, 4.0
RIDER_WANDER_FRAC, RIDER_WANDER_TAU_S = 0.01, 60.0
CADENCE_NOISE_FRAC, CADENCE_NOISE_TAU_S = 0.014, 5.0
HEART_LAG_TAU_S, HEART_REST_BPM, HEART_BPM_PER_W, HEART_DRIFT_BPM_PER_H = 35.0, 72.0, 0.36, 6.0
HEART_NOISE_BPM, HEART_NOISE_TAU_S = 1.5, 3.0  # breathing moves a strap's reading by a beat or two

ENTRY_S = {"steady": 4.0, "free": 2.0, "transient": 1.2, "idle": 0.8, "gap": 0.8}


@dataclass(frozen=True, kw_only=True)
class Step:
    """One step; `transient` starts above `target_w` and fades below it, `free` surges and coasts around it."""

    name: str
    duration_s: float
    target_w: float
    kind: str = "steady"
    cadence_rpm: float = 88.0


@dataclass(frozen=True, kw_only=True)
class Truth:
    """What happened, at `TRUTH_HZ`; all arrays have shape (n,).

    time_s : seconds from the start of the ride.
    power_w : what the rider puts into the pedals.
    step : index into the plan.
    """

    time_s: np.ndarray
    power_w: np.ndarray
    cadence_rpm: np.ndarray
    heart_rate_bpm: np.ndarray
    temperature_degc: np.ndarray
    step: np.ndarray

    @property
    def duration_s(self) -> float:
        """Length of the ride. [s]"""
        return len(self.time_s) / TRUTH_HZ


@dataclass(frozen=True, kw_only=True)
class _Piece:
    n: int
    level_w: float
    cadence_rpm: float
    entry_s: float
    fade_frac: float
    step: int


def sync_pattern(name: str = "sync", hard_w: float = 300.0) -> list[Step]:
    """10 s hard, 10 s still, 10 s hard, 20 s still, 10 s hard: unequal rests leave one way to fit two clocks. [60 s]"""
    hard = Step(name=name, duration_s=10.0, target_w=hard_w, kind="transient", cadence_rpm=95.0)
    still = Step(name=name, duration_s=10.0, target_w=0.0, kind="idle", cadence_rpm=0.0)
    return [hard, still, hard, replace(still, duration_s=20.0), hard]


def hold_plan(levels_w: Sequence[float], *, hold_s: float = 180.0, easy_s: float = 30.0) -> list[Step]:
    """Easy riding, a sync pattern, then one hold per level with easy riding after each."""
    easy = Step(name="easy", duration_s=easy_s, target_w=100.0, kind="free")
    holds = [[Step(name=f"hold {w:g}", duration_s=hold_s, target_w=w), easy] for w in levels_w]
    return [easy, *sync_pattern(), easy, *(step for pair in holds for step in pair)]


def ride(
    plan: Sequence[Step],
    *,
    seed: int,
    late_s: float = 0.0,
    temperature_degc: tuple[float, float] = (18.0, 18.0),
    warming_tau_s: float = 2400.0,
) -> Truth:
    """Ride the plan and return the truth.

    Parameters
    ----------
    late_s : the rider begins a step of a minute or more up to this much late. [s]
    temperature_degc : air at the start and at the end; it approaches the end value exponentially.
    warming_tau_s : time constant of that approach. [s]
    """
    rng = np.random.default_rng(seed)
    pieces = _pieces(plan, rng, late_s)
    base_w = profile([(p.n, p.level_w, p.entry_s, p.fade_frac) for p in pieces])
    base_rpm = profile([(p.n, p.cadence_rpm, p.entry_s, 0.0) for p in pieces])
    n = len(base_w)
    quick = RIDER_NOISE_FRAC * noise(rng, n, RIDER_NOISE_TAU_S)
    wander = RIDER_WANDER_FRAC * slow_noise(rng, n, RIDER_WANDER_TAU_S)
    power_w = np.clip(base_w * (1.0 + quick + wander), 0.0, None)
    time_s = np.arange(n) / TRUTH_HZ
    cold, warm = temperature_degc
    warmed = -np.expm1(-time_s / warming_tau_s) / -np.expm1(-time_s[-1] / warming_tau_s)
    return Truth(
        time_s=time_s,
        power_w=power_w,
        cadence_rpm=base_rpm * (1.0 + CADENCE_NOISE_FRAC * noise(rng, n, CADENCE_NOISE_TAU_S)),
        heart_rate_bpm=_heart_rate(power_w, time_s) + HEART_NOISE_BPM * noise(rng, n, HEART_NOISE_TAU_S),
        temperature_degc=cold + (warm - cold) * warmed,
        step=np.repeat([p.step for p in pieces], [p.n for p in pieces]),
    )


def downstream(truth: Truth, *, loss_frac: float, loss_w: float = 0.0) -> Truth:
    """The same ride as seen further down the drivetrain: a share and a few watts are lost, never below zero."""
    return replace(truth, power_w=np.clip(truth.power_w * (1.0 - loss_frac) - loss_w, 0.0, None))


def record(
    truth: Truth,
    *,
    rate_hz: float = 1.0,
    clock_ahead_s: float = 0.0,
    clock_fast_ppm: float = 0.0,
    gain: float | np.ndarray = 1.0,
    offset_w: float = 0.0,
    lag_s: float = 0.0,
    smoothing_s: float = 0.0,
    noise_frac: float = 0.0,
    cadence_noise_rpm: float = 0.3,
    resolution_w: float = 1.0,
    from_s: float = 0.0,
    to_s: float = np.inf,
    dropouts_s: Sequence[tuple[float, float]] = (),
    pauses_s: Sequence[tuple[float, float]] = (),
    epoch_s: float = EPOCH_S,
    seed: int = 0,
) -> dict[str, np.ndarray]:
    """One device's recording: `time_s` (Unix seconds on its own clock) and channels, shape (m,), NaN where missing.

    Parameters
    ----------
    rate_hz : samples per second of its own clock; stamps are multiples of its period, which sets its phase.
    clock_ahead_s : own clock minus true clock at the start. Aligning must find the shift `-clock_ahead_s`.
    clock_fast_ppm : own seconds are this much shorter than true ones, so that it gains on the true clock.
    gain, offset_w : reading = gain * power + offset_w while power is made, never below zero; `gain` may follow the
        ride, shape (n,) of `truth`.
    lag_s : mean delay of the power channel, its smoothing included; cadence and heart rate are not delayed.
    smoothing_s : width of the moving mean that makes a power sample, where longer than the sampling period. [s]
    noise_frac : standard deviation of the device's own noise, from sample to sample independent, of the reading.
    resolution_w : power is rounded to multiples of this; 0 leaves it alone. The other channels are whole numbers.
    from_s, to_s : true times between which it records. [s]
    dropouts_s : true times without power and cadence; the recording goes on. pauses_s : true times without samples.
    """
    rng = np.random.default_rng(seed)
    rate = 1.0 + clock_fast_ppm * 1e-6
    first, last = max(from_s, 0.0), min(to_s, truth.time_s[-1])
    period = 1.0 / rate_hz
    lo, hi = (t * rate + clock_ahead_s for t in (first, last))
    own_s = np.arange(np.ceil(lo / period - 1e-9), np.floor(hi / period + 1e-9) + 1) * period
    true_s = (own_s - clock_ahead_s) / rate

    reading = np.where(truth.power_w > 0.0, np.clip(gain * truth.power_w + offset_w, 0.0, None), 0.0)
    middle_s = true_s - period / 2.0
    power_w = window_mean(reading, middle_s - lag_s, max(period, smoothing_s))
    power_w = power_w * (1.0 + noise_frac * rng.standard_normal(len(own_s)))
    if resolution_w > 0.0:
        power_w = np.round(power_w / resolution_w) * resolution_w
    cadence_rpm = window_mean(truth.cadence_rpm, middle_s, period)
    wobble_rpm = cadence_noise_rpm * rng.standard_normal(len(own_s))
    cadence_rpm = np.round(np.where(cadence_rpm > 10.0, cadence_rpm + wobble_rpm, 0.0))  # sensors give up near 10 rpm
    lost = inside(true_s, dropouts_s)
    kept = ~inside(true_s, pauses_s)
    channels = {
        "time_s": epoch_s + own_s,
        "power_w": np.where(lost, np.nan, np.clip(power_w, 0.0, None)),
        "cadence_rpm": np.where(lost, np.nan, cadence_rpm),
        "heart_rate_bpm": np.round(np.interp(true_s, truth.time_s, truth.heart_rate_bpm)),
        "temperature_degc": np.round(np.interp(true_s, truth.time_s, truth.temperature_degc)),
    }
    return {name: values[kept] for name, values in channels.items()}


def _pieces(plan: Sequence[Step], rng: np.random.Generator, late_s: float) -> list[_Piece]:
    edges = np.cumsum([0.0, *(step.duration_s for step in plan)])
    for i in range(1, len(plan)):
        if min(plan[i - 1].duration_s, plan[i].duration_s) >= 60.0:
            edges[i] += rng.uniform(0.0, late_s)
    lengths = np.diff(np.round(edges * TRUTH_HZ).astype(int))
    pieces = []
    for i, (step, n) in enumerate(zip(plan, lengths, strict=True)):
        fade = 0.24 if step.kind == "transient" else 0.0  # a sprint starts 12 % above its mean and ends 12 % below
        plain = _Piece(
            n=int(n),
            level_w=step.target_w,
            cadence_rpm=step.cadence_rpm if step.target_w else 0.0,
            entry_s=ENTRY_S[step.kind],
            fade_frac=fade,
            step=i,
        )
        pieces += _surges(plain, rng) if step.kind == "free" else [plain]
    return pieces


def _surges(step: _Piece, rng: np.random.Generator) -> list[_Piece]:
    """Cut a free step into surges and coasts: about one piece in five is a coast."""
    pieces, left = [], step.n
    while left > 0:
        coast = rng.random() < 0.2
        n = min(left, int(TRUTH_HZ * (rng.uniform(4.0, 9.0) if coast else rng.uniform(6.0, 20.0))))
        pace = 0.0 if coast else rng.uniform(0.6, 1.45)
        rpm = 0.0 if coast else step.cadence_rpm + rng.uniform(-8.0, 8.0)
        pieces.append(replace(step, n=n, level_w=step.level_w * pace, cadence_rpm=rpm))
        left -= n
    return pieces


def _heart_rate(power_w: np.ndarray, time_s: np.ndarray) -> np.ndarray:
    """Heart rate follows power with one time constant and drifts upward; before the start the rider rolled at 40 W."""
    seconds = np.arange(0.0, time_s[-1] + 1.0)
    response = np.exp(-np.arange(int(6 * HEART_LAG_TAU_S)) / HEART_LAG_TAU_S)
    by_second_w = np.concatenate([np.full(len(response) - 1, 40.0), window_mean(power_w, seconds - 0.5, 1.0)])
    lagged_w = np.convolve(by_second_w, response / response.sum(), mode="valid")
    steady_bpm = HEART_REST_BPM + HEART_BPM_PER_W * lagged_w + HEART_DRIFT_BPM_PER_H * seconds / 3600.0
    return np.interp(time_s, seconds, steady_bpm)
