"""Figures in sentences: a true minus sign, no sign on what rounds to nothing, one thing and several."""

from __future__ import annotations


def plain(value: float, digits: int = 1) -> str:
    """`12.3`, `−0.4`, `0.0`."""
    text = f"{abs(value):.{digits}f}"
    return text if value >= 0 or float(text) == 0 else f"−{text}"


def signed(value: float, digits: int = 1) -> str:
    """`+12.3`, `−0.4`, `0.0`: a difference."""
    text = f"{abs(value):.{digits}f}"
    return text if float(text) == 0 else f"{'+' if value > 0 else '−'}{text}"


def count(number: int, one: str, several: str | None = None) -> str:
    """`1 trial`, `3 trials`, `0 trials`."""
    return f"{number} {one if number == 1 else several or one + 's'}"
