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
    date       date                             beside a time of day
    balance    left balance, left share, left   % (default), frac; "balance" alone: side unknown
    and the channel names of `analysis.reading.recording.CHANNELS` as they stand

Time is ISO 8601 or dd.mm.yyyy (with zone, or without: then taken as UTC and said so), a date beside a time of day, Unix
seconds or milliseconds, or elapsed seconds or h:mm:ss (then the recording has no absolute clock). Dates with slashes
are refused: nobody can tell month from day.
"""

from __future__ import annotations

import io
import re

import numpy as np
import pandas as pd

from analysis.errors import UnreadableFile
from analysis.reading.assemble import assemble
from analysis.reading.csv_layout import DATE, FAHRENHEIT, TIME, UNITS, Column, Layout, find_layout
from analysis.reading.csv_times import seconds_of_numbers, seconds_of_texts
from analysis.reading.limits import MAX_SAMPLES
from analysis.reading.recording import Recording

MISSING_WORDS = ("-", "--", "---", "n/a", "none", "null", "nan", "")


def read_csv(data: bytes, *, name: str) -> Recording:
    """Read a CSV file. Raises UnreadableFile where no header with a time and a quantity is found, or no row parses."""
    text, encoding = _as_bytes(data)
    layout = find_layout(text, encoding)
    if layout is None:
        raise UnreadableFile(f"{name}: found no header line with a time and a quantity; expected {_expected()}.")
    body = text[layout.body_at :]
    if not body.strip():
        raise UnreadableFile(f"{name}: no row below the header line; expected {_expected()}.")
    warnings: list[str] = []
    table, decimal = _table(body, encoding, layout, name)
    if len(table) > MAX_SAMPLES:
        raise UnreadableFile(f"{name} holds more than {MAX_SAMPLES:,} rows; give the recording of one ride.")
    time_s, absolute = _times(table, decimal, layout, warnings)
    values = _channels(table, decimal, layout, warnings)
    sound = np.isfinite(time_s)
    if not sound.any():
        column = next(c for c in layout.columns if c.channel == TIME)
        example = str(next(iter(table[column.index].dropna()), ""))[:40]
        raise UnreadableFile(
            f"{name}: no row has a time that can be read (column {column.header!r} holds {example!r}); "
            "write ISO 8601, Unix seconds or elapsed seconds."
        )
    if not values:
        raise UnreadableFile(f"{name}: no column besides the time can be read; expected {_expected()}.")
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


def _channels(table: pd.DataFrame, decimal: str, layout: Layout, warnings: list[str]) -> dict[str, np.ndarray]:
    """Channel -> column in its unit; of two columns for one channel the first counts."""
    values: dict[str, np.ndarray] = {}
    bad_cells = 0
    for column in layout.columns:
        if column.channel in (TIME, DATE) or column.channel in values:
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


def _times(table: pd.DataFrame, decimal: str, layout: Layout, warnings: list[str]) -> tuple[np.ndarray, bool]:
    """Seconds per row, and whether they say the date."""
    column = next(c for c in layout.columns if c.channel == TIME)
    date = next((c for c in layout.columns if c.channel == DATE), None)
    numbers, _ = _numbers(table[column.index], decimal)
    if np.isfinite(numbers).sum() * 2 > len(numbers):
        return seconds_of_numbers(numbers, column.unit)
    return seconds_of_texts(table[column.index], None if date is None else table[date.index], warnings)


def _table(body: bytes, encoding: str, layout: Layout, name: str) -> tuple[pd.DataFrame, str]:
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


def _scaled(numbers: np.ndarray, column: Column, warnings: list[str]) -> np.ndarray | None:
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
