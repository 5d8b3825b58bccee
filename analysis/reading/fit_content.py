"""What a FIT decoder hands on: columns of `record`, rows of the few other messages a review needs, what went wrong.

Two decoders fill it, so that nothing after them knows which one ran. Stamps stay raw FIT seconds here, everything else
is in the units of the profile (W, rpm, m/s, ...). Position and the rider's profile are not among the wanted fields.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

# Record fields that say where somebody was; never decoded into a column. FIT profile names.
PLACE_FIELDS = frozenset({"position_lat", "position_long", "gps_accuracy", "heading", "vertical_speed"})

# Other messages, and of each only the fields that say something about the devices or about what was ridden.
WANTED = {
    "file_id": ("type", "manufacturer", "product", "serial_number", "time_created"),
    "file_creator": ("software_version", "hardware_version"),
    "device_info": (
        "timestamp", "device_index", "device_type", "manufacturer", "product", "serial_number", "software_version",
        "hardware_version", "cum_operating_time", "battery_voltage", "battery_status", "source_type",
        "ant_device_number", "ant_network",
    ),
    "event": ("timestamp", "event", "event_type", "data", "data16", "event_group"),
    "lap": ("timestamp", "start_time", "total_elapsed_time", "total_timer_time", "lap_trigger", "avg_power",
            "left_right_balance"),
    "session": (
        "timestamp", "start_time", "total_elapsed_time", "total_timer_time", "sport", "sub_sport", "avg_power",
        "max_power", "total_work", "left_right_balance",
    ),
    "workout": ("sport", "num_valid_steps"),
    "workout_step": (
        "message_index", "duration_type", "duration_value", "target_type", "target_value",
        "custom_target_value_low", "custom_target_value_high", "intensity",
    ),
    "bike_profile": ("power_cal_factor", "crank_length", "auto_power_zero"),
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class DeveloperField:
    """One column of `record` that an application added: its own name and units, and the native field it stands for."""

    name: str
    units: str | None
    native_field_num: int | None
    values: np.ndarray


@dataclass(frozen=True, kw_only=True)
class FitContent:
    """`records` maps profile field names to float columns of one length (NaN: not recorded); `records["timestamp"]`
    holds raw FIT seconds. `messages` maps message names to rows (dicts of raw-scaled values)."""

    n_records: int
    records: dict[str, np.ndarray]
    developer: tuple[DeveloperField, ...] = ()
    messages: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    n_parts: int = 1
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class LostStretch:
    """Bytes [at, resumed) of the file held nothing sound: `lost_s` seconds of the ride, `place_s` after its first sample."""

    at: int
    resumed: int
    place_s: float
    lost_s: float


@dataclass(frozen=True, kw_only=True)
class PartContent:
    """One part of a file: what was decoded, the byte reached and how it ended.

    problem : "" when it ended where the header says, "cut" when a message goes beyond the end, "lost" at a message that
        nothing defines, "long" when a ceiling was crossed.
    n_misfits : fields that declare a size which does not fit their type.
    breaks : stretches inside it that were passed over.
    """

    content: FitContent
    reached: int
    problem: str = ""
    n_misfits: int = 0
    breaks: tuple[LostStretch, ...] = ()
