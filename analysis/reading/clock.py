"""Stamps as recorded -> ascending, unique seconds; every repair is counted and told.

A stamp that repeats has one of four reasons, and each asks for something else: one message per quantity (merge), a
clock rounded to whole seconds (move the twin to its own second), several samples per second (spread them), or a
sample written again at a pause (keep the later one).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analysis.reading.phrases import place, samples, times

# No ride with several devices lasts longer; a stamp further from the middle one is damage or a clock not yet set.
MAX_SPAN_S = 7 * 86400.0
# A repeated second and the skipped second that pays for it lie close together when a 1 Hz clock is rounded:
# within 8 samples in the file of the corpus that shows it.
PAIRED_WITHIN_S = 12.0
# More twins than one in five samples: a recorder faster than its stamps, not rounding and not pauses.
FAST_SHARE = 0.2
# A step longer than this beside a repeated stamp is a pause, not jitter.
PAUSE_STEP_S = 2.5


@dataclass
class Clock:
    """What was found and done; the counts go into the facts, the sentences into the warnings."""

    repeated: int = 0
    backward: int = 0
    first_repeat_s: float | None = None  # after the first sample
    first_backward_s: float | None = None
    warnings: list[str] = field(default_factory=list)


def settle(time_s: np.ndarray, values: pd.DataFrame) -> tuple[pd.DataFrame, Clock]:
    """Frame with `time_s` ascending and unique beside the values, and what had to be done for it.

    time_s : shape (n,), NaN where no stamp was written. values : n rows; NaN means not recorded.
    """
    clock = Clock()
    frame = values.reset_index(drop=True)
    frame.insert(0, "time_s", np.asarray(time_s, dtype=float))
    frame = _drop_unstamped(frame, clock)
    if len(frame) < 2:
        return frame, clock
    steps = np.diff(frame["time_s"].to_numpy())
    clock.backward = int((steps < 0).sum())
    clock.repeated = int((steps == 0).sum())
    after_s = frame["time_s"].to_numpy() - frame["time_s"].min()
    if clock.repeated:
        clock.first_repeat_s = float(after_s[np.flatnonzero(steps == 0)[0]])
    if clock.backward:
        clock.first_backward_s = float(after_s[np.flatnonzero(steps < 0)[0]])
        clock.warnings.append(
            f"The clock steps back {times(clock.backward)} (by up to {-steps.min():g} s), first at "
            f"{place(clock.first_backward_s)}; the samples were put in order."
        )
        frame = frame.sort_values("time_s", kind="stable", ignore_index=True)
    if clock.backward or clock.repeated:
        said = len(clock.warnings)
        frame = _resolve_repeats(frame, clock)
        if clock.first_repeat_s is not None and len(clock.warnings) > said:
            clock.warnings[said] = clock.warnings[said][:-1] + f"; first at {place(clock.first_repeat_s)}."
    return frame, clock


def middle_stamp(time_s: np.ndarray) -> float:
    """The middle one of the finite stamps: always one that was written, never a mean of two. NaN when there is none."""
    sound = time_s[np.isfinite(time_s)]
    return float(np.partition(sound, sound.size // 2)[sound.size // 2]) if sound.size else float("nan")


def _drop_unstamped(frame: pd.DataFrame, clock: Clock) -> pd.DataFrame:
    time_s = frame["time_s"].to_numpy()
    bare = ~np.isfinite(time_s)
    if bare.any():
        clock.warnings.append(f"{samples(bare.sum())} without a time stamp left out.")
    if bare.all():
        return frame[~bare]
    far = ~bare & (np.abs(time_s - middle_stamp(time_s)) > MAX_SPAN_S)
    if far.any():
        clock.warnings.append(
            f"{samples(far.sum())} with a stamp more than {MAX_SPAN_S / 86400:.0f} days from the rest left out."
        )
    return frame[~(bare | far)].reset_index(drop=True) if (bare | far).any() else frame


def _resolve_repeats(frame: pd.DataFrame, clock: Clock) -> pd.DataFrame:
    """Merge what does not contradict itself; then give the twins that differ a time of their own."""
    shared = frame["time_s"].duplicated(keep=False)
    alone, twins = frame[~shared], frame[shared]
    clashes = _clashing(twins)
    agreeing = twins[~clashes]
    merged = _merge(agreeing)
    if len(merged) < len(agreeing):
        n = len(agreeing) - len(merged)
        they = "that it does not contradict was" if n == 1 else "that they do not contradict were"
        clock.warnings.append(f"{samples(n)} with the stamp of another {they} merged with it.")
    frame = pd.concat([alone, merged, twins[clashes]]).sort_values("time_s", kind="stable", ignore_index=True)
    return _separate(frame, clock) if clashes.any() else frame


def _clashing(twins: pd.DataFrame) -> np.ndarray:
    """For every row, whether its stamp holds two different values of one quantity (rows in order of time)."""
    if twins.empty:
        return np.zeros(0, dtype=bool)
    time_s = twins["time_s"].to_numpy()
    values = twins.drop(columns="time_s").to_numpy()
    first = np.flatnonzero(np.diff(time_s, prepend=np.nan) != 0)  # NaN: the first row opens a group as well
    with np.errstate(invalid="ignore"):  # a quantity that a stamp lacks altogether
        differs = (np.fmax.reduceat(values, first) > np.fmin.reduceat(values, first)).any(axis=1)
    return np.repeat(differs, np.diff(np.append(first, len(time_s))))


def _merge(frame: pd.DataFrame) -> pd.DataFrame:
    """One row per stamp: of each quantity the last value that was recorded."""
    return frame.groupby("time_s", sort=True, as_index=False).last()[list(frame.columns)]


def _separate(frame: pd.DataFrame, clock: Clock) -> pd.DataFrame:
    time_s = frame["time_s"].to_numpy().copy()
    moved = _pay_with_skipped_seconds(time_s)
    if moved:
        clock.warnings.append(
            f"{samples(moved)} had the stamp of a neighbour though a second beside it was skipped (a rounded clock); "
            "moved into the skipped second."
        )
    frame = frame.assign(time_s=time_s)
    twin = np.diff(time_s) == 0
    if not twin.any():
        return frame
    step_after = np.append(np.diff(time_s), 0.0)
    step_before = np.insert(np.diff(time_s), 0, 0.0)
    # Seen from a pair of equal stamps: is there a pause on either side?
    first, last = _group_edges(time_s)
    beside_pause = (step_before[first] > PAUSE_STEP_S) | (step_after[last] > PAUSE_STEP_S)
    beside_pause &= (last - first == 1) & (twin.sum() <= FAST_SHARE * len(twin))
    n_before = len(frame)
    at_pause = frame[beside_pause]
    frame = pd.concat([frame[~beside_pause], _merge(at_pause)]).sort_values("time_s", kind="stable", ignore_index=True)
    if n_before > len(frame):
        clock.warnings.append(
            f"{samples(n_before - len(frame))} written twice for one second at a pause; the later values were kept."
        )
    return _spread(frame, clock)


def _pay_with_skipped_seconds(time_s: np.ndarray) -> int:
    """Move twins into the second skipped next to them, in place; give how many samples sat on a taken second.

    The samples between the skipped second and the twin move along by one second, as a rounded clock demands.
    """
    steps = np.diff(time_s)
    twins = np.flatnonzero(steps == 0)
    skips = set(np.flatnonzero((steps > 1.5) & (steps <= PAUSE_STEP_S)).tolist())
    if not skips or len(twins) > FAST_SHARE * len(time_s):
        return 0
    moved = 0
    reach = int(PAIRED_WITHIN_S)
    for i in twins.tolist():
        near = [d for d in range(1, reach + 1) if i - d in skips or i + d in skips]
        for d in near:
            back = i - d in skips
            lo, hi = (i - d + 1, i + 1) if back else (i + 1, i + d + 1)
            if np.any(np.diff(time_s[lo:hi]) == 0) or np.any(np.diff(time_s[lo:hi]) > 1.5):
                continue  # another twin or a hole lies between
            time_s[lo:hi] += -1.0 if back else 1.0
            skips.discard(i - d if back else i + d)
            moved += 1
            break
    return moved


def _spread(frame: pd.DataFrame, clock: Clock) -> pd.DataFrame:
    """Several different samples in one second: spread them evenly up to the next stamp, at most one second on."""
    time_s = frame["time_s"].to_numpy()
    first, last = _group_edges(time_s)
    size = last - first + 1
    if size.max(initial=1) == 1:
        return frame
    following = np.append(time_s, np.inf)[last + 1]
    room = np.minimum(following - time_s, 1.0)
    rank = np.arange(len(time_s)) - first
    clock.warnings.append(
        f"{samples(int((rank > 0).sum()))} shared a stamp with samples that differ; spread evenly within the second."
    )
    return frame.assign(time_s=time_s + rank / size * room)


def _group_edges(time_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """For every row the index of the first and the last row with the same stamp (rows in order of time)."""
    return np.searchsorted(time_s, time_s, side="left"), np.searchsorted(time_s, time_s, side="right") - 1
