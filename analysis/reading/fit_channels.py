"""FIT `record` columns -> channels with their unit in the name. Nothing is filled in: what was not recorded is NaN."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from analysis.reading.fit_content import DeveloperField, FitContent

# channel <- FIT profile field, factor. Where two fields carry one quantity, the first that was recorded wins, row by
# row: the plain field is what the sensor path wrote, the enhanced one is stored where the plain one would overflow.
SOURCES = {
    "power_w": (("power", 1.0),),
    "cadence_rpm": (("cadence", 1.0),),
    "heart_rate_bpm": (("heart_rate", 1.0),),
    "speed_mps": (("speed", 1.0), ("enhanced_speed", 1.0)),
    "altitude_m": (("altitude", 1.0), ("enhanced_altitude", 1.0)),
    "temperature_degc": (("temperature", 1.0),),
    "left_torque_effectiveness_frac": (("left_torque_effectiveness", 0.01),),
    "right_torque_effectiveness_frac": (("right_torque_effectiveness", 0.01),),
    "left_smoothness_frac": (("left_pedal_smoothness", 0.01),),
    "right_smoothness_frac": (("right_pedal_smoothness", 0.01),),
    "combined_smoothness_frac": (("combined_pedal_smoothness", 0.01),),
    "left_platform_offset_mm": (("left_pco", 1.0),),
    "right_platform_offset_mm": (("right_pco", 1.0),),
    "left_phase_start_deg": (("left_power_phase_0", 1.0),),
    "left_phase_end_deg": (("left_power_phase_1", 1.0),),
    "right_phase_start_deg": (("right_power_phase_0", 1.0),),
    "right_phase_end_deg": (("right_power_phase_1", 1.0),),
    "left_peak_phase_start_deg": (("left_power_phase_peak_0", 1.0),),
    "left_peak_phase_end_deg": (("left_power_phase_peak_1", 1.0),),
    "right_peak_phase_start_deg": (("right_power_phase_peak_0", 1.0),),
    "right_peak_phase_end_deg": (("right_power_phase_peak_1", 1.0),),
    "accumulated_work_j": (("accumulated_power", 1.0),),
    "distance_m": (("distance", 1.0),),
}

# Every profile field that ends up in a channel.
FIELDS = frozenset(
    {"left_right_balance", *(re.sub(r"_[01]$", "", field) for sources in SOURCES.values() for field, _ in sources)}
)

NATIVE_POWER_FIELD = 7  # field number of `power` in `record`; a developer field may declare to stand for it
NATIVE_USED = "the file's own power is used."  # said of a file that holds both
APPLICATION_USED = "it is used, but ask what that application does to it."  # said of one that holds no other
WATT_WORDS = ("w", "watt", "watts")
SIDE_KNOWN = 0x80  # flag in the balance byte: the low seven bits are the right side's share


def channels(content: FitContent) -> tuple[pd.DataFrame, list[str]]:
    """One column per channel that was ever recorded, rows as in the file; and warnings."""
    warnings: list[str] = []
    columns: dict[str, np.ndarray] = {}
    for channel, sources in SOURCES.items():
        column = _first_recorded(content.records, sources)
        if column is not None:
            columns[channel] = column
    columns |= _balance(content.records.get("left_right_balance"))
    columns |= _developer_power(content.developer, columns.get("power_w"), warnings)
    return pd.DataFrame(columns, index=range(content.n_records)), warnings


def _first_recorded(records: dict[str, np.ndarray], sources: tuple[tuple[str, float], ...]) -> np.ndarray | None:
    column = None
    for field, factor in sources:
        values = records.get(field)
        if values is None or not np.isfinite(values).any():
            continue
        values = values * factor
        column = values if column is None else np.where(np.isfinite(column), column, values)
    return column


def _balance(raw: np.ndarray | None) -> dict[str, np.ndarray]:
    """The balance byte has two codings that must not be mixed: with the flag it is the right side's share."""
    if raw is None:
        return {}
    known = np.isfinite(raw)
    byte = np.where(known, raw, 0).astype(np.int64)
    share = (byte & ~SIDE_KNOWN) / 100.0
    sound = known & (share <= 1.0)
    flagged = (byte & SIDE_KNOWN) != 0
    out = {
        "left_share_frac": np.where(sound & flagged, 1.0 - share, np.nan),
        "one_side_share_frac": np.where(sound & ~flagged, share, np.nan),
    }
    return {name: column for name, column in out.items() if np.isfinite(column).any()}


def _developer_power(
    fields: tuple[DeveloperField, ...], native_w: np.ndarray | None, warnings: list[str]
) -> dict[str, np.ndarray]:
    """Power that an application wrote: used only where the file has no power of its own or only zeros, and said so."""
    declared = [f for f in fields if f.native_field_num == NATIVE_POWER_FIELD]
    named = [f for f in fields if f.name.strip().lower() == "power" and (f.units or "").strip().lower() in WATT_WORDS]
    found = declared or named
    found = [f for f in found if np.isfinite(f.values).any()]
    if not found:
        return {}
    if native_w is not None and np.nan_to_num(native_w).any():
        warnings.append(
            f"Beside its own power the file holds power written by an application (field {found[0].name!r}); {NATIVE_USED}"
        )
        return {"developer_power_w": found[0].values}
    if native_w is not None and not np.nan_to_num(found[0].values).any():
        return {}
    what = "Power is there only as" if native_w is None else "The file's own power is zero throughout; beside it stands"
    warnings.append(f"{what} a field written by an application ({found[0].name!r}); {APPLICATION_USED}")
    return {"power_w": found[0].values}
