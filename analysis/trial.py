"""Recordings of one ride on one clock: the unit that is analysed and shared.

Time zero is the reference's first sample; a device that started earlier has negative times.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.errors import OutOfRange
from analysis.traces import Floats, Pair, Steps, pair_of, steps_of


@dataclass(frozen=True, kw_only=True)
class AlignedRecording:
    """One recording's samples on the trial's clock, with what is known of its device.

    time_s : (n,) ascending; channels : name -> (n,) with NaN where nothing was recorded.
    """

    label: str
    point: str | None
    claim_pct: float
    interval_s: float
    time_s: Floats
    channels: Mapping[str, Floats]

    def steps(self, channel: str = "power_w") -> Steps:
        """The channel as a step function; empty where the recording does not carry it."""
        if channel not in self._steps:
            value = self.channels.get(channel, np.full(self.time_s.size, np.nan))
            self._steps[channel] = steps_of(self.time_s, value, interval_s=self.interval_s)
        return self._steps[channel]

    @cached_property
    def _steps(self) -> dict[str, Steps]:
        return {}


@dataclass(frozen=True, kw_only=True)
class Trial:
    """Aligned recordings, the reference first. `same_source`: pairs of labels that carry one sensor's values.

    adrift : labels of recordings whose clock is not settled against the reference's.
    """

    recordings: tuple[AlignedRecording, ...]
    loss_pct: tuple[float, float]
    start_utc: str | None
    same_source: tuple[tuple[str, str], ...] = ()
    adrift: tuple[str, ...] = ()

    @property
    def reference(self) -> str:
        return self.recordings[0].label

    @property
    def labels(self) -> tuple[str, ...]:
        return tuple(r.label for r in self.recordings)

    @property
    def devices(self) -> tuple[AlignedRecording, ...]:
        """All but the reference."""
        return self.recordings[1:]

    def one_sensor(self, label: str, other: str) -> bool:
        """Whether both carry one sensor's values, so that neither can be the other's referee."""
        return any({label, other} == set(pair) for pair in self.same_source)

    @cached_property
    def start_s(self) -> float:
        """Whole second at or before the first sample of any recording."""
        return float(np.floor(min(r.time_s[0] for r in self.recordings)))

    @cached_property
    def end_s(self) -> float:
        """Whole second at or after the last sample of any recording, one second further for what it stands for."""
        return float(np.floor(max(r.time_s[-1] for r in self.recordings)) + 1)

    @property
    def duration_s(self) -> float:
        return self.end_s - self.start_s

    @cached_property
    def second_s(self) -> Floats:
        """Left edges of the trial's whole seconds, shape (duration_s,)."""
        return np.arange(self.start_s, self.end_s)

    def recording(self, label: str) -> AlignedRecording:
        """Raises OutOfRange for a label that the trial does not have."""
        for recording in self.recordings:
            if recording.label == label:
                return recording
        raise OutOfRange(f"No recording is called {label!r}; this trial has {', '.join(self.labels)}.")

    def per_second(self, label: str, channel: str = "power_w") -> Floats:
        """Mean of each whole second, NaN where less than half of it is covered; for pictures and for finding blocks."""
        key = (label, channel)
        if key not in self._seconds:
            self._seconds[key] = self.recording(label).steps(channel).means(self.second_s, self.second_s + 1)
        return self._seconds[key]

    def pair(self, label: str, against: str | None = None) -> Pair:
        """Power of a device and of another (the reference where none is named) over the time both cover."""
        key = (label, against or self.reference)
        if key not in self._pairs:
            self._pairs[key] = pair_of(*(self.recording(one).steps() for one in key))
        return self._pairs[key]

    @cached_property
    def _seconds(self) -> dict[tuple[str, str], Floats]:
        return {}

    @cached_property
    def _pairs(self) -> dict[tuple[str, str], Pair]:
        return {}
