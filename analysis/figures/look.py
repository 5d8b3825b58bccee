"""How the overlay is to be drawn: which devices, held against which, in which unit, how smooth, with which further rows.

Reads the aligned trial only to say what of a look it can show. Widths in seconds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.errors import OutOfRange
from analysis.figures.thinning import Array
from analysis.trial import AlignedRecording, Trial


@dataclass(frozen=True, kw_only=True)
class Look:
    """All defaults together are the overlay as a page opens with it.

    device : label of the one device shown, None for all. against : label the others are held against, None for the
    reference. unit : of differences, "pct" or "w". mean_s : width of the moving mean, None for means as wide as the zoom
    asks. rows : keys of `CHANNEL_ROWS`. axis : time since the start, or clock time in UTC.
    """

    device: str | None = None
    against: str | None = None
    unit: Literal["pct", "w"] = "pct"
    mean_s: int | None = None
    rows: tuple[str, ...] = ()
    axis: Literal["elapsed", "clock"] = "elapsed"

    def held_against(self, trial: Trial) -> str:
        """Label of the recording that the others are held against. Raises OutOfRange for one that the trial lacks."""
        return trial.recording(self.against or trial.reference).label

    def compared(self, trial: Trial) -> tuple[str, ...]:
        """Labels that get a difference strip, in the trial's order. Raises OutOfRange for a device that the trial lacks."""
        held = self.held_against(trial)
        if self.device is None:
            return tuple(label for label in trial.labels if label != held)
        if trial.recording(self.device).label == held:
            raise OutOfRange(f"{held} cannot be held against itself; choose another device or another to hold it against.")
        return (self.device,)

    def shown(self, trial: Trial) -> tuple[str, ...]:
        """Labels that have lines, in the trial's order."""
        seen = {self.held_against(trial), *self.compared(trial)}
        return tuple(label for label in trial.labels if label in seen)

    def clock_start(self, trial: Trial) -> str | None:
        """What zero is in UTC where clock time is asked for and known."""
        return trial.start_utc if self.axis == "clock" else None


@dataclass(frozen=True, kw_only=True)
class ChannelRow:
    """A further row: what it is called, its unit, decimals for reading it out, and where its values come from."""

    name: str
    unit: str
    digits: int
    values: Callable[[AlignedRecording], Array | None]


def _channel(name: str) -> Callable[[AlignedRecording], Array | None]:
    def values(recording: AlignedRecording) -> Array | None:
        value = recording.channels.get(name)
        # zero throughout, or nothing at all, means that no sensor was there
        return value if value is not None and np.any(np.isfinite(value) & (value != 0)) else None

    return values


def _balance_pct(recording: AlignedRecording) -> Array | None:
    left = _channel("left_share_frac")(recording)
    share = left if left is not None else _channel("one_side_share_frac")(recording)
    return None if share is None else 100 * share


CHANNEL_ROWS = {
    "cadence": ChannelRow(name="cadence", unit="rpm", digits=0, values=_channel("cadence_rpm")),
    "heart_rate": ChannelRow(name="heart rate", unit="1/min", digits=0, values=_channel("heart_rate_bpm")),
    "temperature": ChannelRow(name="temperature of the recording unit", unit="°C", digits=1, values=_channel("temperature_degc")),
    "balance": ChannelRow(name="balance, left or known side", unit="%", digits=1, values=_balance_pct),
}


def rows_recorded(trial: Trial) -> tuple[str, ...]:
    """Keys of the rows that at least one recording has values for."""
    return tuple(key for key, row in CHANNEL_ROWS.items() if any(row.values(r) is not None for r in trial.recordings))
