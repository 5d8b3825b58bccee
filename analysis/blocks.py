"""Cut a trial into blocks: every second belongs to exactly one, of kind steady, transient, free, idle or gap.

Works on the consensus of all recordings. Edges lie on whole seconds of the trial's clock.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from analysis.consensus import IDLE_W, Consensus
from analysis.holds import find_holds, fluctuation
from analysis.runs import runs, runs_at_least
from analysis.traces import Floats

LETTERS = {"steady": "S", "transient": "T", "free": "F", "idle": "I", "gap": "G"}

# Shorter holes are bridged for labelling (never for deltas). Common practice, no source.
MIN_GAP_S = 5
# Coasting of up to about ten seconds is part of riding along; a longer rest is a block of its own. Common practice, no source.
MIN_IDLE_S = 12
# A surge stands out of the quieter third of the minute and a half around it by both of these. Common practice, no source.
SURGE_WINDOW_S = 91
SURGE_BACKGROUND_PCT = 35
SURGE_RATIO = 2.0
SURGE_EXTRA_W = 120.0
MAX_SURGE_S = 45
MIN_SURGE_S = 3
# Room on both sides of a surge's half-height for devices that answer late.
SURGE_MARGIN_S = 1
# A transient is a surge when its neighbours stay below this share of it.
SURGE_ABOVE = 0.75
# What is left beside a hold is the way to its level when it is this short, else riding along. A way of up to
# `MAX_ENTRY_S` is part of the hold from half-height on (its entry is trimmed from deltas anyway), a slower one is a
# transient of its own. Common practice, no source; half-height as the instant of an edge after IEEE Std 181.
MAX_EDGE_S = 20
MAX_ENTRY_S = 8
# A remainder of free riding this short between two other blocks is no block; it joins the one before it.
MAX_SCRAP_S = 5


@dataclass(frozen=True, kw_only=True)
class Block:
    """A stretch of the trial with one kind; the interior is the part that deltas rest on.

    Times in seconds on the trial's clock, [start_s, end_s); `spread_frac` is the standard deviation of five-second
    means and `trend_frac` the change from start to end, both of the level, for holds only. `level_group` is shared by holds
    of one level; `fixed_power_in` names the recordings that follow a level too well to have been ridden freely.
    A block with an `excluded_reason` keeps its place and counts nowhere.
    """

    id: str
    start_s: float
    end_s: float
    kind: str
    level_w: float | None
    cadence_rpm: float | None
    name: str
    interior_start_s: float
    interior_end_s: float
    spread_frac: float | None = None
    trend_frac: float | None = None
    edited: bool = False
    excluded_reason: str | None = None
    level_group: str | None = None
    fixed_power_in: tuple[str, ...] = ()

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s

    @property
    def letter(self) -> str:
        return LETTERS[self.kind]


def entry_trim_s(length_s: float) -> float:
    """Seconds left out after a hold's entry: a sixth of it, 10 to 30 s, so 30 s of 3 min and 20 s of 2 min.

    Common practice, no source (30 s off each three-minute hold); at least 10 s because smoothed devices still climb.
    """
    return float(min(max(round(length_s / 6), 10), 30))


def exit_trim_s(length_s: float) -> float:
    """Seconds left out before a hold's end: 5 s, 2 s for holds under a minute. Common practice, no source."""
    return 5.0 if length_s >= 60 else 2.0


def find_blocks(consensus: Consensus) -> tuple[Block, ...]:
    """Partition the trial. Every whole second from the first to the last lies in exactly one block."""
    n = consensus.second_s.size
    gap = runs_at_least(consensus.recordings_n < 2, MIN_GAP_S)
    power = _bridged(consensus.power_w)
    idle = runs_at_least((power < IDLE_W) & ~gap, MIN_IDLE_S)
    code = np.full(n, "free", dtype="<U9")
    hold_id = np.zeros(n, int)
    for i, (first, last) in enumerate(find_holds(power, blocked=gap | idle, cadence_rpm=consensus.cadence_rpm), start=1):
        code[first:last], hold_id[first:last] = "steady", i
    for first, last in _surges(power, still=gap | idle, blocked=gap | idle | (hold_id > 0)):
        code[first:last] = "transient"
    code[idle], code[gap] = "idle", "gap"
    code, hold_id = _with_edges(power, code, hold_id)
    return with_names(_assembled(consensus, power, code, hold_id))


def _surges(power: Floats, *, still: np.ndarray, blocked: np.ndarray) -> list[tuple[int, int]]:
    """Short efforts well above what is ridden around them, from half-height to half-height and a little more."""
    quick = ndimage.uniform_filter1d(power, 3, mode="nearest")
    background = np.zeros(power.size)
    if not still.all():  # a stop beside an effort says nothing of what it stands out of
        background[~still] = ndimage.percentile_filter(power[~still], SURGE_BACKGROUND_PCT, SURGE_WINDOW_S, mode="nearest")
    high = (quick > SURGE_RATIO * background) & (quick > background + SURGE_EXTRA_W) & ~blocked
    found = []
    for first, last in runs(high):
        if MIN_SURGE_S <= last - first <= MAX_SURGE_S:
            half = (background[first:last].mean() + np.median(power[first:last])) / 2
            above = first + np.flatnonzero(power[first:last] > half)
            first, last = max(int(above[0]) - SURGE_MARGIN_S, 0), min(int(above[-1]) + 1 + SURGE_MARGIN_S, power.size)
            clear = ~blocked[first:last]
            if clear.any():
                found.append((first + int(np.argmax(clear)), last - int(np.argmax(clear[::-1]))))
    return found


def _with_edges(power: Floats, code: np.ndarray, hold_id: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give short ways into and out of a hold to the blocks they join; call the slower ones transients.

    What leads straight from one level to another is a way; anything else beside a hold is riding along.
    """
    kinds, ids = code.copy(), hold_id.copy()
    for first, last in runs(code == "free"):
        before = first > 0 and hold_id[first - 1] > 0
        after = last < code.size and hold_id[last] > 0
        inside = first > 0 and last < code.size
        if inside and last - first <= MAX_SCRAP_S and not (before or after):
            joined = first - 1 if code[first - 1] != "gap" else last
            kinds[first:last] = code[joined]
        elif inside and (before or after) and last - first <= MAX_EDGE_S:
            sides = power[max(first - 3, 0) : first], power[last : last + 3]
            if last - first <= MAX_ENTRY_S:
                cut = first + _half_height(power[first:last], *sides)
                kinds[first:cut], ids[first:cut] = code[first - 1], hold_id[first - 1]
                kinds[cut:last], ids[cut:last] = code[last], hold_id[last]
            elif _leads(power[first:last], *sides):
                kinds[first:last] = "transient"
    return kinds, ids


def _leads(way: Floats, before: Floats, after: Floats) -> bool:
    """Whether a stretch goes from the level before it to the one after it and nowhere else."""
    low, high = sorted((float(before.mean()), float(after.mean())))
    smooth = ndimage.uniform_filter1d(way, 5, mode="nearest")
    backward = np.diff(smooth) * (1 if after.mean() > before.mean() else -1)
    return bool(smooth.min() > 0.9 * low and smooth.max() < 1.1 * high and backward.min() > -0.1 * (high - low))


def _half_height(way: Floats, before: Floats, after: Floats) -> int:
    middle, rising = (before.mean() + after.mean()) / 2, after.mean() > before.mean()
    beyond = np.flatnonzero(way > middle if rising else way < middle)
    return int(beyond[0]) if beyond.size else way.size


def _assembled(consensus: Consensus, power: Floats, code: np.ndarray, hold_id: np.ndarray) -> list[Block]:
    change = np.flatnonzero((code[1:] != code[:-1]) | (hold_id[1:] != hold_id[:-1])) + 1
    edges = np.concatenate(([0], change, [code.size])).tolist()
    return [block_of(consensus, first, last, kind=str(code[first]), number=number, power_w=power)
            for number, (first, last) in enumerate(itertools.pairwise(edges), start=1)]  # fmt: skip


def block_of(
    consensus: Consensus, first: int, last: int, *, kind: str, number: int, name: str = "", power_w: Floats | None = None
) -> Block:
    """The block over the trial's seconds [first, last), with its level, cadence and trimmed interior."""
    length, start = float(last - first), float(consensus.second_s[first])
    trims = (entry_trim_s(length), exit_trim_s(length)) if kind == "steady" else (0.0, 0.0)
    if length - sum(trims) < 5:  # made by hand, shorter than any hold
        trims = (float(length // 4), 0.0)
    inner = slice(int(first + trims[0]), int(last - trims[1]))
    bridged = (consensus.power_w if power_w is None else power_w)[inner]
    spread, trend = fluctuation(bridged[np.isfinite(bridged)]) if kind == "steady" else (None, None)
    return Block(
        id=f"B{number:02d}", start_s=start, end_s=start + length, kind=kind, name=name,
        level_w=None if kind == "gap" else _mean(consensus.power_w[inner]),
        cadence_rpm=None if kind == "gap" else _mean(consensus.cadence_rpm[inner]),
        interior_start_s=start + trims[0], interior_end_s=start + length - trims[1],
        spread_frac=spread, trend_frac=trend,
    )  # fmt: skip


def with_names(blocks: Sequence[Block]) -> tuple[Block, ...]:
    """Give every block without a name one that a person would use, numbered where it would stand twice."""
    around = zip([None, *blocks[:-1]], blocks, [*blocks[1:], None], strict=True)
    plain = [block.name or _plain_name(before, block, after) for before, block, after in around]
    given = {block.name for block in blocks if block.name}
    seen: dict[str, int] = {}
    named = []
    for block, name in zip(blocks, plain, strict=True):
        if not block.name and (plain.count(name) > 1 or name in given):
            number = seen.get(name, 0) + 1
            while f"{name} {number}" in given:
                number += 1
            seen[name] = number
            name = f"{name} {number}"
        named.append(replace(block, name=name))
    return tuple(named)


def surges(blocks: Sequence[Block]) -> tuple[Block, ...]:
    """The transients that stand well above what comes before and after them: sprints and surges, not steps between levels."""
    around = zip([None, *blocks[:-1]], blocks, [*blocks[1:], None], strict=True)
    return tuple(block for before, block, after in around if _is_surge(before, block, after))


def _is_surge(before: Block | None, block: Block, after: Block | None) -> bool:
    if block.kind != "transient" or block.level_w is None:
        return False
    if block.length_s > MAX_SURGE_S + 2 * SURGE_MARGIN_S:
        return False
    return all(other is None or (other.level_w or 0.0) < SURGE_ABOVE * block.level_w for other in (before, after))


def _plain_name(before: Block | None, block: Block, after: Block | None) -> str:
    if block.kind == "steady":
        return f"{5 * round((block.level_w or 0.0) / 5)} W hold"
    if block.kind == "transient":
        return "sprint" if _is_surge(before, block, after) else "way between levels"
    return {"free": "free riding", "idle": "rest", "gap": "no data"}[block.kind]


def _bridged(power: Floats) -> Floats:
    """Power without holes, for labelling only; a recording without any power is all zero."""
    there = np.isfinite(power)
    if not there.any():
        return np.zeros(power.size)
    at = np.arange(power.size)
    return np.interp(at, at[there], power[there])


def _mean(values: Floats) -> float | None:
    there = np.isfinite(values)
    return float(values[there].mean()) if there.any() else None
