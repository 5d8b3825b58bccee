"""TCX: bytes -> Recording. Track points with heart rate, cadence, speed and watts in their extensions."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analysis.errors import UnreadableFile
from analysis.reading.assemble import assemble
from analysis.reading.naming import hash_serial
from analysis.reading.recording import Recording
from analysis.reading.xml_points import Points, read_points

ROW = "Trackpoint"
# Element, by local name -> channel; units as the format fixes them (m, m/s, W, rpm, 1/min). Positions are not listed.
LEAVES = {
    "Time": "time",
    "Watts": "power_w",
    "Cadence": "cadence_rpm",
    "HeartRateBpm/Value": "heart_rate_bpm",
    "Speed": "speed_mps",
    "AltitudeMeters": "altitude_m",
    "DistanceMeters": "distance_m",
}
OTHER = {
    "UnitId": "serial",
    "ProductID": "product",
    "Version/VersionMajor": "major",
    "VersionMinor": "minor",
}


def read_tcx(data: bytes, *, name: str) -> Recording:
    """Read a TCX file. Raises UnreadableFile where it holds no track points with a time."""
    points = read_points(data, row=ROW, leaves=LEAVES, other=OTHER, name=name)
    return recording_of(points, data=data, name=name, format="tcx", facts=_facts(points))


def recording_of(points: Points, *, data: bytes, name: str, format: str, facts: dict[str, Any]) -> Recording:
    """The common end of TCX and GPX: columns from points. Raises UnreadableFile where no point has a time."""
    warnings = []
    time_s, zoned = points.stamps("time")
    if not np.isfinite(time_s).any():
        where = f" (it breaks off at {points.problem})" if points.problem else ""
        raise UnreadableFile(
            f"{name} holds no track points with a time{where}; choose the file of a recorded ride, not a course or route."
        )
    if points.problem:
        warnings.append(f"The file breaks off at {points.problem}; {points.n_rows} samples before it were kept.")
    if not zoned:
        warnings.append("The time stamps name no time zone; taken as UTC.")
    columns = {c: points.numbers(c) for c in points.texts if c != "time"}
    recorded = {c: v for c, v in columns.items() if np.isfinite(v).any()}
    return assemble(
        data=data,
        name=name,
        format=format,
        time_s=time_s,
        values=pd.DataFrame(recorded, index=range(points.n_rows)),
        facts=facts,
        warnings=warnings,
    )


def _facts(points: Points) -> dict[str, Any]:
    other = points.other
    recorder: dict[str, Any] = {}
    if other["product"] and other["product"][0].strip().isdigit():
        recorder["product"] = int(other["product"][0])
    if other["major"] and other["minor"]:
        recorder["firmware"] = f"{other['major'][0].strip()}.{other['minor'][0].strip()}"[:20]
    if other["serial"] and other["serial"][0].strip("0 "):
        recorder["serial_hash"] = hash_serial(other["serial"][0].strip())
    return {"recorder": recorder} if recorder else {}
