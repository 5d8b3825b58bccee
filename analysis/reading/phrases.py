"""How counts, places and spans are said in warnings, the same everywhere."""

from __future__ import annotations


def samples(n: int) -> str:
    """1 sample, 2 samples."""
    return "1 sample" if n == 1 else f"{n} samples"


def times(n: int) -> str:
    """once, 2 times."""
    return "once" if n == 1 else f"{n} times"


def place(after_s: float) -> str:
    """Seconds after the first sample as h:mm:ss."""
    whole = int(after_s)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def span(seconds: float) -> str:
    """A length of time: seconds below ten minutes, else minutes."""
    return f"{seconds:.0f} s" if seconds < 600 else f"{seconds / 60:.0f} min"
