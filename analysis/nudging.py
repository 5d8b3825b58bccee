"""A trial as it would stand with some clocks moved by hand: for looking, before anything is analysed again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from analysis.trial import Trial


def nudged(trial: Trial, by_s: Mapping[str, float]) -> Trial:
    """The trial with each recording named in `by_s` moved by so many seconds; the reference stays where it is. [s]

    The reference's clock is the trial's: it has no shift of its own to change. Labels that the trial lacks say nothing.
    """
    moved = tuple(
        replace(r, time_s=r.time_s + by_s[r.label]) if by_s.get(r.label) and r.label != trial.reference else r
        for r in trial.recordings
    )
    return replace(trial, recordings=moved)
