"""Plain tables (from JSON, TOML or a form) read field by field; every complaint names the field, what it must be, what came."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from analysis.errors import BadSetup


class Fields:
    """One table; `where` is its place in the whole document, such as `parts[2].`, empty at the top."""

    def __init__(self, entry: Any, where: str = "", *, known: Iterable[str]) -> None:
        """Raises BadSetup where it is no table or has a key that is not known."""
        if not isinstance(entry, Mapping):
            raise BadSetup(f"{where.rstrip('.') or 'The whole'} must be a table of named fields; got {type(entry).__name__}.")
        allowed = sorted(known)
        for key in entry:
            if key not in allowed:
                raise BadSetup(f"unknown key {where}{key}; known here: {', '.join(allowed)}.")
        self._entry, self._where = entry, where

    def text(self, key: str, most: int) -> str:
        """Text that must be there, without space around it."""
        value = self.text_or_none(key, most)
        if value is None:
            raise BadSetup(f"{self._where}{key} must be text of 1 to {most} characters; got {self._entry.get(key)!r}.")
        return value

    def text_or_none(self, key: str, most: int) -> str | None:
        """Text, or None where it is missing or empty."""
        value = self._entry.get(key)
        if value is None or value == "":
            return None
        if not isinstance(value, str) or len(value.strip()) > most:
            raise BadSetup(f"{self._where}{key} must be text of 1 to {most} characters; got {str(value)[:60]!r}.")
        return value.strip() or None

    def number(self, key: str, low: float, high: float) -> float | None:
        """A finite number from low to high, or None where it is missing."""
        value = self._entry.get(key)
        if value is None:
            return None
        plain = isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
        if not plain or not low <= value <= high:
            raise BadSetup(f"{self._where}{key} must be a number from {low:g} to {high:g}; got {value!r}.")
        return float(value)

    def whole(self, key: str, low: int, high: int) -> int:
        """A whole number from low to high; low where it is missing."""
        value = self._entry.get(key, low)
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise BadSetup(f"{self._where}{key} must be a whole number from {low} to {high}; got {value!r}.")
        return value

    def one_of(self, key: str, known: tuple[str, ...]) -> str:
        """One of the words; the first where it is missing."""
        value = self._entry.get(key, known[0])
        if value not in known:
            raise BadSetup(f"{self._where}{key} must be one of {', '.join(known)}; got {value!r}.")
        return value

    def day(self, key: str) -> str | None:
        """A date as YYYY-MM-DD, or None where it is missing."""
        value = self.text_or_none(key, 10)
        if value is None:
            return None
        try:
            good = re.fullmatch(r"\d{4}-\d{2}-\d{2}", value) and date.fromisoformat(value)
        except ValueError:
            good = None
        if not good:
            raise BadSetup(f"{self._where}{key} must be a date such as 2026-03-14; got {value!r}.")
        return value

    def entries(self, key: str, least: int, most: int) -> list[tuple[Any, str]]:
        """The entries of a list, each with its place for complaints; an absent list is an empty one."""
        value = self._entry.get(key, [])
        if not isinstance(value, (list, tuple)) or not least <= len(value) <= most:
            got = f"{len(value)} entries" if isinstance(value, (list, tuple)) else repr(value)
            raise BadSetup(f"{self._where}{key} must be a list of {least} to {most} entries; got {got}.")
        return [(entry, f"{self._where}{key}[{i}].") for i, entry in enumerate(value)]

    def complain(self, key: str, sentence: str) -> BadSetup:
        """The complaint about one field, to be raised."""
        return BadSetup(f"{self._where}{key} {sentence}")
