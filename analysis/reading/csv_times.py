"""The time column of a CSV file as seconds, and whether it says the date."""

from __future__ import annotations

import numpy as np
import pandas as pd

UNIX_FROM_S = 1e8  # 1973: a number above it is no elapsed time
UNIX_FROM_MS = 1e11  # a number above it counts milliseconds
CLOCK = r"\d{1,3}:\d\d(:\d\d([.,]\d+)?)?"  # h:mm:ss or m:ss
DOTTED = r"^(\d{1,2})\.(\d{1,2})\.(\d{4})"  # day.month.year; with dots the day always comes first


def seconds_of_numbers(numbers: np.ndarray, unit: str) -> tuple[np.ndarray, bool]:
    """Unix seconds or milliseconds (dated), or elapsed time in `unit` (not dated); told by size. NaN stays NaN."""
    middle = float(np.median(numbers[np.isfinite(numbers)]))
    if middle > UNIX_FROM_MS:
        return numbers / 1000.0, True
    if middle > UNIX_FROM_S:
        return numbers, True
    return numbers * {"ms": 0.001, "min": 60.0}.get(unit, 1.0), False


def seconds_of_texts(cells: pd.Series, dates: pd.Series | None, warnings: list[str]) -> tuple[np.ndarray, bool]:
    """ISO 8601 or day.month.year as Unix seconds, h:mm:ss as elapsed; a time of day takes its date from `dates`.

    NaN where a text is none of these.
    """
    text = cells.astype("string").str.strip()
    if text.str.fullmatch(CLOCK).mean() > 0.5:
        if dates is None:
            return _clock_times(text), False
        text = dates.astype("string").str.strip() + "T" + text.str.zfill(5)
    text = text.str.replace(",", ".", regex=False)
    if text.str.match(DOTTED).mean() > 0.5:
        padded = text.str.replace(r"^(\d)\.", r"0\1.", regex=True).str.replace(r"^(\d\d)\.(\d)\.", r"\1.0\2.", regex=True)
        text = padded.str.replace(DOTTED, r"\3-\2-\1", regex=True)
    stamps = pd.to_datetime(text, format="ISO8601", utc=True, errors="coerce")
    zoned = text.str.contains(r"(?:Z|[+-]\d\d:?\d\d)$", regex=True, case=False, na=False)
    if not zoned[stamps.notna()].all():
        warnings.append("The time stamps name no time zone; taken as UTC.")
    seconds = stamps.astype("datetime64[ns, UTC]").astype("int64").to_numpy() / 1e9
    return np.where(stamps.notna(), seconds, np.nan), True


def _clock_times(text: pd.Series) -> np.ndarray:
    """m:ss or h:mm:ss as seconds; two parts are minutes and seconds."""
    with_hours = text.where(text.str.count(":") == 2, "0:" + text).str.replace(",", ".", regex=False)
    return pd.to_timedelta(with_hours, errors="coerce").dt.total_seconds().to_numpy()
