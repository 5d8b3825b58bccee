"""What a ride plan can settle before it is ridden: the smallest difference found with 80 % power, by kind and level.

Percent of the reference. The test that is forecast is the one that will be made: blocks are the repeats within a trial,
trials are the repeats across days.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import optimize, special

from analysis.blocks import entry_trim_s, exit_trim_s
from analysis.levels import grouped
from analysis.numerals import count, signed
from analysis.replicates import day_to_day_pct
from analysis.setup import PlanStep

POWER = 0.80
ALPHA = 0.05
MAX_TRIALS = 60
# Root mean square of the stated error over the true one, fitted to 400 simulated series a cell (100 to 600 s, lag-1 0.3 to 0.8).
WIDER, WIDER_SHORT = 1.07, 24.0
# Quantiles at which the scatter of rides alike is weighed; finer ones change the fourth digit.
QUANTILES = (np.arange(2000) + 0.5) / 2000


@dataclass(frozen=True, kw_only=True)
class Noise:
    """What makes two devices differ by chance, in percent of the reference; `origin` says where the figures come from.

    second_pct, lag1 : one second's difference and its correlation with the next; block_pct : what differs from hold to hold
    beyond that; trial_pct : what differs from day to day beyond that.
    """

    second_pct: float
    lag1: float
    block_pct: float
    trial_pct: float
    origin: str


# Real pairs of devices are often quieter. Common practice, no source; day to day after Paton & Hopkins 2006 (from memory).
DEFAULT_NOISE = Noise(second_pct=3.0, lag1=0.8, block_pct=0.5, trial_pct=0.8, origin="cautious defaults of the trade")


@dataclass(frozen=True, kw_only=True)
class Detectable:
    """For one kind and level of a plan: blocks, the seconds of one that count, and the smallest difference it can show.

    smallest_pct : true difference that one trial finds with 80 % power (two-sided, 5 %), None with a single block;
    half_width_pct : half of the 95 % interval that one trial will have, on average; error_pct : standard error of its mean.
    """

    kind: str
    level_w: float | None
    blocks: int
    seconds: float
    error_pct: float
    half_width_pct: float | None
    smallest_pct: float | None


@dataclass(frozen=True, kw_only=True)
class TrialsNeeded:
    """How many trials it takes in all, and how many more, to settle a mean against bounds; None where MAX_TRIALS do not."""

    in_all: int | None
    more: int | None
    sentence: str


def mean_error_pct(noise: Noise, seconds: float) -> float:
    """Standard error of one block's mean: seconds alike as an AR(1), plus what differs from block to block. [%]

    Exact variance of a mean of n values of an AR(1): s2/n ((1 + r)/(1 - r) - 2 r (1 - r^n) / (n (1 - r)^2)).
    """
    return math.sqrt(noise.second_pct**2 / _effective(noise, seconds) + noise.block_pct**2)


def _effective(noise: Noise, seconds: float) -> float:
    """How many unlike seconds the seconds of one block are worth."""
    n, r = max(seconds, 1.0), noise.lag1
    return n / ((1 + r) / (1 - r) - 2 * r * (1 - r**n) / (n * (1 - r) ** 2))


def _stated_error_pct(noise: Noise, seconds: float) -> float:
    """The error that `deltas.mean_with_error` will state for one block's seconds, which errs to the wide side in short ones."""
    worth = _effective(noise, seconds)
    return noise.second_pct / math.sqrt(worth) * (WIDER + WIDER_SHORT / max(worth, 5.0) ** 1.5)


def smallest_difference(error: float, repeats: int, *, floor: float = 0.0, scatter_dof: float | None = None) -> float | None:
    """True difference from zero that the interval over `repeats` excludes with 80 % power; in the unit of `error`, one repeat's.

    The interval is Student's t over the repeats, never narrower than what each repeat's own `floor` gives. Without a floor
    this is the power of a t test (Cohen 1988, chapter 2, from memory). None under two repeats: no spread, no test.
    scatter_dof : how many degrees of freedom their scatter really has, where some weigh more than others.
    """
    if repeats < 2:
        return None
    half, root = _half_widths(error, repeats, floor, scatter_dof), math.sqrt(repeats)

    def missing(delta: float) -> float:
        found = special.ndtr((delta - half) * root / error) + special.ndtr((-delta - half) * root / error)
        return float(found.mean()) - POWER

    return float(optimize.brentq(missing, 0.0, float(half.max()) + 10 * error))


def _half_widths(error: float, repeats: int, floor: float, scatter_dof: float | None) -> np.ndarray:
    """Half-widths of the 95 % interval over rides alike, at evenly spaced quantiles of their scatter."""
    dof, root = scatter_dof or repeats - 1, math.sqrt(repeats)
    scatter = error * np.sqrt(special.chdtri(dof, 1 - QUANTILES) / dof)
    return np.maximum(special.stdtrit(repeats - 1, 1 - ALPHA / 2) * scatter, special.ndtri(1 - ALPHA / 2) * floor) / root


def forecast(steps: Sequence[PlanStep], noise: Noise = DEFAULT_NOISE) -> tuple[Detectable, ...]:
    """What one ride of the plan can show: all held power, each level, surges; blocks are the repeats."""
    holds = [s for s in steps if s.kind == "steady" and _counted_s(s) > 0]
    surges = [s for s in steps if s.kind == "transient"]
    found = [_detectable("steady", None, holds, noise)] if holds else []
    for group in _levels(holds):
        found.append(_detectable("steady", float(np.mean([s.target_w for s in group])), group, noise))
    found += [_detectable("transient", None, surges, noise)] if surges else []
    return tuple(found)


def _detectable(kind: str, level_w: float | None, steps: Sequence[PlanStep], noise: Noise) -> Detectable:
    seconds = np.array([_counted_s(s) for s in steps])
    n, share = len(steps), _shares(steps, seconds)
    parts = np.array([share_one * mean_error_pct(noise, s) for share_one, s in zip(share, seconds, strict=True)]) ** 2
    floors = np.array([share_one * _stated_error_pct(noise, s) for share_one, s in zip(share, seconds, strict=True)]) ** 2
    # as of one repeat among n alike
    error, floor = math.sqrt(n * parts.sum()), math.sqrt(n * floors.sum())
    dof = max(float(parts.sum() ** 2 / (parts**2).sum()) - 1, 1.0)  # Satterthwaite: n - 1 where all weigh the same
    return Detectable(
        kind=kind, level_w=level_w, blocks=n, seconds=float(seconds.mean()), error_pct=error / math.sqrt(n),
        half_width_pct=float(_half_widths(error, n, floor, dof).mean()) if n > 1 else None,
        smallest_pct=smallest_difference(error, n, floor=floor, scatter_dof=dof),
    )  # fmt: skip


def _shares(steps: Sequence[PlanStep], seconds: np.ndarray) -> np.ndarray:
    """What each step weighs in the ratio of works: its share of the work, of the time where a target is missing."""
    targets = [s.target_w for s in steps]
    work = seconds * np.array(targets, float) if all(targets) else seconds
    return work / work.sum()


def _counted_s(step: PlanStep) -> float:
    """Seconds of a step that its delta will rest on."""
    if step.kind != "steady":
        return step.duration_s
    return step.duration_s - entry_trim_s(step.duration_s) - exit_trim_s(step.duration_s)


def _levels(holds: Sequence[PlanStep]) -> list[list[PlanStep]]:
    """As the blocks ridden will be grouped."""
    aimed = [s for s in holds if s.target_w]
    return [[aimed[i] for i in group] for group in grouped([s.target_w for s in aimed])]


def trials_needed(mean_pct: float, spread_pct: float, trials: int, bounds_pct: tuple[float, float]) -> TrialsNeeded:
    """How many trials until the 95 % interval of their mean lies wholly inside or wholly outside the bounds.

    mean_pct, spread_pct : what is expected of the mean, and one trial's standard deviation (days and its own error together).
    trials : those that there are and that do not settle it yet.
    """
    low, high = bounds_pct
    room = min(abs(mean_pct - low), abs(mean_pct - high))
    inside = low <= mean_pct <= high
    what = f"{'within' if inside else 'outside'} {signed(low)} to {signed(high)} %"
    most = MAX_TRIALS if trials < MAX_TRIALS else trials + MAX_TRIALS
    for n in range(max(2, trials + 1), most + 1):
        if float(special.stdtrit(n - 1, 1 - ALPHA / 2)) * spread_pct / math.sqrt(n) < room:
            more = count(n - trials, "more trial")
            said = (
                f"If the mean stays at {signed(mean_pct)} % and trials differ by {_points(spread_pct)}, {more} "
                f"{'settles' if n - trials == 1 else 'settle'} that it is {what}."
            )
            return TrialsNeeded(in_all=n, more=n - trials, sentence=said)
    sentence = (
        f"The mean lies {_points(room)} from the edge of {signed(low)} to {signed(high)} % and trials differ by "
        f"{_points(spread_pct)}: no number of trials up to {most} settles it."
    )
    return TrialsNeeded(in_all=None, more=None, sentence=sentence)


def _points(size: float) -> str:
    return "less than 0.1 points" if size < 0.1 else f"{size:.1f} points"


def noise_of(reports: Sequence[Mapping[str, Any]], label: str, default: Noise = DEFAULT_NOISE) -> Noise:
    """Noise as one's own trials show it (results as their JSON says them), the default where they do not.

    One second's figure is worked back from the intervals of held blocks, with the default's correlation; how far days differ
    comes from three trials or more of one firmware.
    """
    errors, between = [], []
    unit = replace(default, second_pct=1.0, block_pct=0.0)
    for report in reports:
        held = {b["id"] for b in report["blocks"] if b["kind"] == "steady" and not b.get("excluded_reason")}
        rows = [d for d in report["deltas"] if d["label"] == label and d["block"] in held and d.get("delta_pct_se")]
        errors += [d["delta_pct_se"] / mean_error_pct(unit, d["n_s"]) for d in rows]
        spread = [(s.get("random_effects") or {}).get("between_blocks_sd_pct") for s in report["summary"] if s["label"] == label]
        between += [x for x in spread if x is not None]
    if not errors:
        return default
    days = day_to_day_pct(reports, label)
    origin = f"{count(len(errors), 'held block')} of {count(len(reports), 'own trial')}; day to day from "
    return Noise(
        second_pct=float(np.median(errors)),
        lag1=default.lag1,
        block_pct=float(np.median(between)) if between else default.block_pct,
        trial_pct=default.trial_pct if days is None else days[0],
        origin=origin + ("the defaults" if days is None else f"{days[1]} of them"),
    )
