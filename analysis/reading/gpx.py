"""GPX 1.1: bytes -> Recording. Power, cadence and the rest stand in extensions, under names that differ by writer."""

from __future__ import annotations

from analysis.reading.recording import Recording
from analysis.reading.tcx import recording_of
from analysis.reading.xml_points import read_points

ROW = "trkpt"
# Element, by local name -> channel; m, m/s, W, rpm, 1/min, deg C. The point's own position is an attribute, never read.
LEAVES = {
    "time": "time",
    "power": "power_w",
    "watts": "power_w",
    "Watts": "power_w",
    "PowerInWatts": "power_w",
    "cad": "cadence_rpm",
    "cadence": "cadence_rpm",
    "hr": "heart_rate_bpm",
    "heartrate": "heart_rate_bpm",
    "speed": "speed_mps",
    "ele": "altitude_m",
    "distance": "distance_m",
    "atemp": "temperature_degc",
    "temp": "temperature_degc",
}


def read_gpx(data: bytes, *, name: str) -> Recording:
    """Read a GPX file. Raises UnreadableFile where it holds no track points with a time."""
    points = read_points(data, row=ROW, leaves=LEAVES, other={}, name=name)
    return recording_of(points, data=data, name=name, format="gpx", facts={})
