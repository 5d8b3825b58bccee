"""What one file holds: samples with their units, facts about the devices, and what was odd about it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import pandas as pd

# Every channel the rest of the package may meet, with its unit in the name. Position never is among them.
CHANNELS = {
    "power_w": "power [W]",
    "cadence_rpm": "cadence [rpm]",
    "heart_rate_bpm": "heart rate [1/min]",
    "speed_mps": "speed [m/s]",
    "altitude_m": "altitude [m]",
    "temperature_degc": "temperature of the recording unit, not of the sensor [deg C]",
    "left_share_frac": "share of the power made by the left side, 0 to 1; only where the file says which side is meant",
    "one_side_share_frac": "share of the power of one side, 0 to 1, where the file does not say which",
    "left_torque_effectiveness_frac": "share of the left side's torque that drives, 0 to 1",
    "right_torque_effectiveness_frac": "the same of the right side",
    "left_smoothness_frac": "mean over peak power of a revolution, left side, 0 to 1",
    "right_smoothness_frac": "the same of the right side",
    "combined_smoothness_frac": "mean over peak power of a revolution, both sides as one, 0 to 1",
    "left_platform_offset_mm": "where the force acts on the left pedal, from the middle outwards [mm]",
    "right_platform_offset_mm": "the same of the right pedal [mm]",
    "left_phase_start_deg": "crank angle at which the left leg begins to drive [deg]",
    "left_phase_end_deg": "crank angle at which it ends [deg]",
    "right_phase_start_deg": "the same begin of the right leg [deg]",
    "right_phase_end_deg": "the same end of the right leg [deg]",
    "left_peak_phase_start_deg": "begin of the left leg's strongest stretch [deg]",
    "left_peak_phase_end_deg": "end of it [deg]",
    "right_peak_phase_start_deg": "begin of the right leg's strongest stretch [deg]",
    "right_peak_phase_end_deg": "end of it [deg]",
    "developer_power_w": "power that an application wrote beside the file's own [W]; never used unless chosen",
    "accumulated_work_j": "running total of work that the sensor reports [J]",
    "distance_m": "distance covered [m]",
}


@dataclass(frozen=True, kw_only=True)
class Recording:
    """One recording, as recorded.

    samples : frame with `time_s` (Unix seconds, float, ascending, no two equal) and any of `CHANNELS`;
        a value that was not recorded is NaN, a zero is a reading.
    channels : the channels that carry a usable signal; a column that is zero throughout stays in `samples`
        but is left out here, because it means that no sensor was there.
    interval_s : median step between samples. [s]
    absolute_clock : False when the stamps count from power-on and say nothing of the date.
    facts : what the file says of the devices, JSON-able, no position, no rider, no full serial number.
    warnings : one plain sentence each, for the reviewer.
    """

    name: str
    sha256: str
    format: str
    samples: pd.DataFrame
    channels: tuple[str, ...]
    interval_s: float
    absolute_clock: bool = True
    facts: dict[str, Any] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()

    @property
    def start_s(self) -> float:
        """First stamp. [Unix s]"""
        return float(self.samples["time_s"].iloc[0])

    @property
    def start_utc(self) -> str | None:
        """First stamp as ISO 8601; None where the clock has no date."""
        return f"{datetime.fromtimestamp(self.start_s, UTC):%Y-%m-%dT%H:%M:%SZ}" if self.absolute_clock else None

    @property
    def duration_s(self) -> float:
        """Last stamp minus first. [s]"""
        return float(self.samples["time_s"].iloc[-1] - self.samples["time_s"].iloc[0])
