"""The header of a CSV file: delimiter, which column holds what, in which unit. The words are listed in `csv`."""

from __future__ import annotations

import re
from dataclasses import dataclass

from analysis.reading.recording import CHANNELS

DELIMITERS = (",", ";", "\t")
MAX_HEADER_LINE = 60  # lines above the header that are passed over

TIME, DATE = "time", "date"
TIME_WORDS = {
    "timestamp": "any", "time": "any", "date time": "any", "datetime": "any", "utc": "any", "utc time": "any",
    "secs": "elapsed", "sec": "elapsed", "seconds": "elapsed", "elapsed": "elapsed", "elapsed time": "elapsed",
    "duration": "elapsed", "s": "elapsed",
}  # fmt: skip

# Header word -> channel; the tables below give what a unit multiplies with, "" standing for "no unit written".
WORDS = {
    "power": "power_w", "watts": "power_w", "watt": "power_w", "pwr": "power_w", "w": "power_w",
    "cadence": "cadence_rpm", "cad": "cadence_rpm", "rpm": "cadence_rpm",
    "heart rate": "heart_rate_bpm", "heartrate": "heart_rate_bpm", "hr": "heart_rate_bpm",
    "pulse": "heart_rate_bpm", "bpm": "heart_rate_bpm",
    "speed": "speed_mps", "velocity": "speed_mps",
    "altitude": "altitude_m", "elevation": "altitude_m", "alt": "altitude_m", "ele": "altitude_m",
    "distance": "distance_m", "dist": "distance_m",
    "temperature": "temperature_degc", "temp": "temperature_degc",
    "left balance": "left_share_frac", "left share": "left_share_frac", "left": "left_share_frac",
    "balance": "one_side_share_frac", "left right balance": "one_side_share_frac",
}  # fmt: skip
UNITS = {
    "power_w": {"": 1.0, "w": 1.0, "watt": 1.0, "watts": 1.0, "kw": 1000.0},
    "cadence_rpm": {"": 1.0, "rpm": 1.0, "1/min": 1.0, "min-1": 1.0},
    "heart_rate_bpm": {"": 1.0, "bpm": 1.0, "1/min": 1.0, "min-1": 1.0},
    "speed_mps": {"m/s": 1.0, "mps": 1.0, "ms": 1.0, "km/h": 1 / 3.6, "kmh": 1 / 3.6, "kph": 1 / 3.6, "mph": 0.44704},
    "altitude_m": {"": 1.0, "m": 1.0, "ft": 0.3048, "feet": 0.3048},
    "distance_m": {"m": 1.0, "km": 1000.0, "mi": 1609.344, "miles": 1609.344},
    "temperature_degc": {"": 1.0, "c": 1.0, "°c": 1.0, "degc": 1.0, "celsius": 1.0, "f": 5 / 9, "°f": 5 / 9},
    "left_share_frac": {"": 0.01, "%": 0.01, "pct": 0.01, "percent": 0.01, "frac": 1.0},
    "one_side_share_frac": {"": 0.01, "%": 0.01, "pct": 0.01, "percent": 0.01, "frac": 1.0},
}
FAHRENHEIT = frozenset({"f", "°f"})
ALL_UNITS = frozenset(u for table in UNITS.values() for u in table if u) | {"s", "sec", "ms", "min"}


@dataclass(frozen=True, kw_only=True)
class Column:
    index: int
    channel: str  # of CHANNELS, or TIME, or DATE
    unit: str
    header: str


@dataclass(frozen=True, kw_only=True)
class Layout:
    delimiter: str
    body_at: int  # byte after the header line
    n_cells: int
    columns: tuple[Column, ...]


def find_layout(data: bytes, encoding: str) -> Layout | None:
    """The first line that names a time and a quantity, read with the delimiter that recognises most of it; else None."""
    start = 0
    for _ in range(MAX_HEADER_LINE):
        end = data.find(b"\n", start)
        end = len(data) if end < 0 else end
        line = data[start:end].decode(encoding, errors="replace").strip("\r")
        best: Layout | None = None
        for delimiter in DELIMITERS:
            cells = [c.strip().strip('"').strip() for c in line.split(delimiter)]
            columns = tuple(c for i, cell in enumerate(cells) if (c := _column(i, cell)) is not None)
            kinds = {c.channel for c in columns}
            if TIME in kinds and kinds - {TIME, DATE} and (best is None or len(columns) > len(best.columns)):
                columns = tuple(sorted(columns, key=_time_first))
                best = Layout(delimiter=delimiter, body_at=end + 1, n_cells=len(cells), columns=columns)
        if best is not None:
            return best
        if end >= len(data):
            break
        start = end + 1
    return None


def _time_first(column: Column) -> tuple[int, int]:
    """Of several time columns a dated one wins over an elapsed one."""
    return (0 if TIME_WORDS.get(_plain(column.header)) == "any" else 1, column.index)


def _plain(text: str) -> str:
    return re.sub(r"[\s_\-./]+", " ", text).strip().lower()


def _column(index: int, header: str) -> Column | None:
    word, unit = header.strip(), ""
    if header.strip() in CHANNELS:
        return Column(index=index, channel=header.strip(), unit="as named", header=header)
    bracket = re.match(r"^(.*?)\s*[(\[]\s*([^)\]]*?)\s*[)\]]$", word)
    if bracket:
        word, unit = bracket.group(1), bracket.group(2).lower()
    else:
        tail = re.match(r"^(.+?)[\s_]+(\S+)$", word)
        if tail and tail.group(2).lower() in ALL_UNITS:
            word, unit = tail.group(1), tail.group(2).lower()
    word = _plain(word)
    if word in TIME_WORDS:
        return Column(index=index, channel=TIME, unit=unit, header=word)
    if word == DATE:
        return Column(index=index, channel=DATE, unit="", header=word)
    if word in WORDS:
        return Column(index=index, channel=WORDS[word], unit=unit, header=header)
    return None
