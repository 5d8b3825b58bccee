"""CSV: bytes -> Recording. One header line, one line per sample.

Delimiter: comma, semicolon or tab. Decimal sign: point, or comma where the delimiter is not a comma. Text: UTF-8
with or without byte order mark, UTF-16 with one, else Latin-1. Lines above the header are passed over.

Header words (case, spaces and underscores do not matter; a unit may follow in brackets or after an underscore):

    time       time, timestamp, date time, utc, secs, seconds, elapsed, elapsed time, duration, time_s
    power      power, watts, pwr
    cadence    cadence, cad, rpm
    heart rate heart rate, heartrate, hr, pulse, bpm
    speed      speed, velocity                  needs a unit: m/s, km/h, mph
    altitude   altitude, elevation, alt, ele    m (default), ft
    distance   distance, dist                   needs a unit: m, km, mi
    temperature temperature, temp               C (default), F
    balance    left balance, left share, left   % (default), frac; "balance" alone: side unknown
    and the channel names of `analysis.reading.recording.CHANNELS` as they stand

Time is ISO 8601 (with zone, or without: then taken as UTC and said so), Unix seconds or milliseconds, or elapsed
seconds or h:mm:ss (then the recording has no absolute clock).
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.errors import UnreadableFile
from analysis.reading.assemble import assemble
from analysis.reading.limits import MAX_SAMPLES
from analysis.reading.recording import CHANNELS, Recording

DELIMITERS = (",", ";", "\t")
MAX_HEADER_LINE = 60  # lines above the header that are passed over
MISSING_WORDS = ("-", "--", "---", "n/a", "none", "null", "nan", "")

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

UNIX_FROM_S = 1e8  # 1973: a number above it is no elapsed time
UNIX_FROM_MS = 1e11  # a number above it counts milliseconds


@dataclass(frozen=True, kw_only=True)
class _Column:
    index: int
    channel: str  # or "time"
    unit: str
    header: str


@dataclass(frozen=True, kw_only=True)
class _Layout:
    delimiter: str
    body_at: int  # byte after the header line
    n_cells: int
    columns: tuple[_Column, ...]


def read_csv(data: bytes, *, name: str) -> Recording:
    """Read a CSV file. Raises UnreadableFile where no header with a time and a quantity is found, or no row parses."""
    text, encoding = _as_bytes(data)
    layout = _find_layout(text, encoding, name)
    body = text[layout.body_at :]
    if not body.strip():
        raise UnreadableFile(f"{name}: no row below the header line; expected {_expected()}.")
    warnings: list[str] = []
    table, decimal = _table(body, encoding, layout, name)
    if len(table) > MAX_SAMPLES:
        raise UnreadableFile(f"{name} holds more than {MAX_SAMPLES:,} rows; give the recording of one ride.")
    time_column = next(c for c in layout.columns if c.channel == "time")
    time_s, absolute = _times(table[time_column.index], decimal, time_column, warnings)
    values = _channels(table, decimal, layout, warnings)
    sound = np.isfinite(time_s)
    if not sound.any() or not values:
        raise UnreadableFile(f"{name}: no row could be read; expected {_expected()}.")
    _count_unread(body, len(table), int(len(sound) - sound.sum()), warnings)
    rows = slice(None) if sound.all() else sound
    return assemble(
        data=data,
        name=name,
        format="csv",
        time_s=time_s[rows],
        values=pd.DataFrame({channel: column[rows] for channel, column in values.items()}, copy=False),
        absolute_clock=absolute,
        warnings=warnings,
    )


def _channels(table: pd.DataFrame, decimal: str, layout: _Layout, warnings: list[str]) -> dict[str, np.ndarray]:
    """Channel -> column in its unit; of two columns for one channel the first counts."""
    values: dict[str, np.ndarray] = {}
    bad_cells = 0
    for column in layout.columns:
        if column.channel == "time" or column.channel in values:
            continue
        numbers, bad = _numbers(table[column.index], decimal)
        bad_cells += bad
        scaled = _scaled(numbers, column, warnings)
        if scaled is not None:
            values[column.channel] = scaled
    if bad_cells:
        warnings.append(f"{bad_cells} cells are no numbers; they count as not recorded.")
    return values


def _count_unread(body: bytes, n_parsed: int, n_without_time: int, warnings: list[str]) -> None:
    n_lines = body.count(b"\n") + (not body.endswith(b"\n"))
    if n_lines != n_parsed:  # blank lines are no rows
        n_lines = sum(1 for line in body.splitlines() if line.strip())
    unread = max(n_lines - n_parsed, 0) + n_without_time
    if unread:
        warnings.append(f"{unread} of {n_lines} rows left out: no time that can be read, or the wrong number of cells.")


def _expected() -> str:
    return "a header line such as time,power,cadence,heart_rate and below it one line per second"


def _as_bytes(data: bytes) -> tuple[bytes, str]:
    """Bytes without byte order mark in an encoding that splits at newline bytes, and that encoding."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace").encode(), "utf-8"
    data = data.removeprefix(b"\xef\xbb\xbf")
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return data, "latin-1"
    return data, "utf-8"


def _find_layout(data: bytes, encoding: str, name: str) -> _Layout:
    """The first line that names a time and a quantity, read with the delimiter that recognises most of it."""
    start = 0
    for _ in range(MAX_HEADER_LINE):
        end = data.find(b"\n", start)
        end = len(data) if end < 0 else end
        line = data[start:end].decode(encoding, errors="replace").strip("\r")
        best: _Layout | None = None
        for delimiter in DELIMITERS:
            cells = [c.strip().strip('"').strip() for c in line.split(delimiter)]
            columns = tuple(c for i, cell in enumerate(cells) if (c := _column(i, cell)) is not None)
            has_time = any(c.channel == "time" for c in columns)
            if has_time and len(columns) >= 2 and (best is None or len(columns) > len(best.columns)):
                columns = tuple(sorted(columns, key=_time_first))
                best = _Layout(delimiter=delimiter, body_at=end + 1, n_cells=len(cells), columns=columns)
        if best is not None:
            return best
        if end >= len(data):
            break
        start = end + 1
    raise UnreadableFile(f"{name}: found no header line with a time and a quantity; expected {_expected()}.")


def _time_first(column: _Column) -> tuple[int, int]:
    """Of several time columns a dated one wins over an elapsed one."""
    return (0 if TIME_WORDS.get(_plain(column.header)) == "any" else 1, column.index)


def _plain(text: str) -> str:
    return re.sub(r"[\s_\-./]+", " ", text).strip().lower()


def _column(index: int, header: str) -> _Column | None:
    word, unit = header.strip(), ""
    if header.strip() in CHANNELS:
        return _Column(index=index, channel=header.strip(), unit="as named", header=header)
    bracket = re.match(r"^(.*?)\s*[(\[]\s*([^)\]]*?)\s*[)\]]$", word)
    if bracket:
        word, unit = bracket.group(1), bracket.group(2).lower()
    else:
        tail = re.match(r"^(.+?)[\s_]+(\S+)$", word)
        if tail and tail.group(2).lower() in ALL_UNITS:
            word, unit = tail.group(1), tail.group(2).lower()
    word = _plain(word)
    if word in TIME_WORDS:
        return _Column(index=index, channel="time", unit=unit, header=word)
    if word in WORDS:
        return _Column(index=index, channel=WORDS[word], unit=unit, header=header)
    return None


def _table(body: bytes, encoding: str, layout: _Layout, name: str) -> tuple[pd.DataFrame, str]:
    """The recognised columns by position, and the decimal sign."""
    decimal = "."
    if layout.delimiter != "," and re.search(rb"\d,\d", body[:4096]):
        decimal = ","
    try:
        table = pd.read_csv(
            io.BytesIO(body),
            sep=layout.delimiter,
            decimal=decimal,
            encoding=encoding,
            header=None,
            names=range(layout.n_cells),
            usecols=[c.index for c in layout.columns],
            index_col=False,
            skipinitialspace=layout.delimiter.encode() + b" " in body[:4096],  # costs a third of the time
            na_values=list(MISSING_WORDS),
            on_bad_lines="skip",
            low_memory=False,
            nrows=MAX_SAMPLES + 1,
        )
    except (ValueError, pd.errors.ParserError, pd.errors.EmptyDataError, OverflowError) as problem:
        reason = str(problem).splitlines()[0][:120]
        raise UnreadableFile(f"{name} could not be read as CSV ({reason}); expected {_expected()}.") from None
    return table, decimal


def _numbers(cells: pd.Series, decimal: str) -> tuple[np.ndarray, int]:
    """Float column and how many cells hold something that is no number."""
    if pd.api.types.is_numeric_dtype(cells) and not pd.api.types.is_bool_dtype(cells):
        numbers = cells.to_numpy(dtype=float, copy=True)
    else:
        text = cells.astype("string")
        if decimal == ",":
            text = text.str.replace(",", ".", regex=False)
        numbers = pd.to_numeric(text, errors="coerce").to_numpy(dtype=float, na_value=np.nan, copy=True)
    unusable = ~np.isfinite(numbers)
    if not unusable.any():
        return numbers, 0
    bad = int((cells.notna().to_numpy() & unusable).sum())
    numbers[unusable] = np.nan
    return numbers, bad


def _scaled(numbers: np.ndarray, column: _Column, warnings: list[str]) -> np.ndarray | None:
    if column.unit == "as named":
        return numbers
    table = UNITS[column.channel]
    if column.unit not in table:
        known = ", ".join(u for u in table if u)
        got = f"unit {column.unit!r} unknown" if column.unit else "no unit"
        warnings.append(f"Column {column.header!r} left out: {got}; write one of {known} in brackets behind the name.")
        return None
    if column.unit in FAHRENHEIT:
        numbers = numbers - 32.0
    return numbers * table[column.unit]


def _times(cells: pd.Series, decimal: str, column: _Column, warnings: list[str]) -> tuple[np.ndarray, bool]:
    """Seconds (Unix seconds where the file says the date) and whether the clock is absolute."""
    numbers, _ = _numbers(cells, decimal)
    sound = np.isfinite(numbers)
    if sound.sum() * 2 > len(cells):
        middle = float(np.median(numbers[sound]))
        if middle > UNIX_FROM_MS:
            return numbers / 1000.0, True
        if middle > UNIX_FROM_S:
            return numbers, True
        return numbers * {"ms": 0.001, "min": 60.0}.get(column.unit, 1.0), False
    text = cells.astype("string").str.strip()
    if text.str.fullmatch(r"\d{1,3}:\d\d(:\d\d([.,]\d+)?)?").mean() > 0.5:
        return _clock_times(text), False
    stamps = pd.to_datetime(text.str.replace(",", ".", regex=False), format="ISO8601", utc=True, errors="coerce")
    zoned = text.str.contains(r"(?:Z|[+-]\d\d:?\d\d)$", regex=True, case=False, na=False)
    if not zoned[stamps.notna()].all():
        warnings.append("The time stamps name no time zone; taken as UTC.")
    seconds = stamps.astype("datetime64[ns, UTC]").astype("int64").to_numpy() / 1e9
    return np.where(stamps.notna(), seconds, np.nan), True


def _clock_times(text: pd.Series) -> np.ndarray:
    """m:ss or h:mm:ss as seconds; two parts are minutes and seconds."""
    with_hours = text.where(text.str.count(":") == 2, "0:" + text).str.replace(",", ".", regex=False)
    return pd.to_timedelta(with_hours, errors="coerce").dt.total_seconds().to_numpy()
