"""The screen: what a reader has chosen to look at, as an address and as the page's stores. Pure: no request, no store.

`?from=612.0&to=733.5` is the interval, `view=600.0,900.0` the stretch drawn, both in seconds on the trial's clock;
`device`, `against`, `unit`, `mean`, `rows` and `axis` say what is drawn of it. What is not there is the default, what
makes no sense likewise: a mistyped address still opens the trial.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal
from urllib.parse import urlencode

Unit = Literal["pct", "w"]
Axis = Literal["elapsed", "clock"]
Interval = tuple[float, float]

UNITS: tuple[Unit, ...] = ("pct", "w")
AXES: tuple[Axis, ...] = ("elapsed", "clock")
MEANS_S = (1, 3, 10, 30)
ROWS = ("cadence", "heart_rate", "temperature", "balance")
# Ends are kept to the millisecond; a trial lasts days at most, so more digits than these are a mistake.
MAX_TIME_S = 1e8
MAX_LABEL = 200  # longer than any label a set-up may hold


@dataclass(frozen=True, kw_only=True)
class Screen:
    """What a reader looks at; all defaults together are the page as it opens.

    window : the selected interval, None for the whole trial; view : the stretch drawn, None for all of it. [s]
    device : label of the one device shown, None for all.
    against : label the others are held against, None for the trial's reference. Headline and findings stay with that.
    unit : of differences, "pct" of what they are held against or "w".
    mean_s : width of the moving mean drawn, for display only; None lets the zoom decide.
    rows : further channels drawn below power; axis : time since the start, or clock time in UTC.
    """

    window: Interval | None = None
    view: Interval | None = None
    device: str | None = None
    against: str | None = None
    unit: Unit = "pct"
    mean_s: int | None = None
    rows: tuple[str, ...] = ()
    axis: Axis = "elapsed"

    def query(self) -> str:
        """The part of an address behind the question mark: only what differs from the page as it opens."""
        said: dict[str, str] = {}
        if self.window is not None:
            said |= {"from": seconds(self.window[0]), "to": seconds(self.window[1])}
        if self.view is not None:
            said["view"] = ",".join(map(seconds, self.view))
        said |= {name: text for name in ("device", "against") if (text := getattr(self, name)) is not None}
        said |= {name: getattr(self, name) for name in ("unit", "axis") if getattr(self, name) != getattr(OPENING, name)}
        if self.mean_s is not None:
            said["mean"] = str(self.mean_s)
        if self.rows:
            said["rows"] = ",".join(self.rows)
        return urlencode(said, safe=",")

    def to_store(self) -> dict[str, Any]:
        """The choices for `dcc.Store(id=ids.SCREEN)`. Interval and view have stores of their own: they change far more often."""
        return {
            "device": self.device, "against": self.against, "unit": self.unit, "mean_s": self.mean_s,
            "rows": list(self.rows), "axis": self.axis,
        }  # fmt: skip

    def fitted(self, labels: Sequence[str]) -> Screen:
        """The same without labels that the trial lacks, and with None for its reference; `labels` has that first."""
        against = self.against if self.against in labels[1:] else None
        held_against = against or labels[0]
        device = self.device if self.device in labels and self.device != held_against else None
        return replace(self, device=device, against=against)


OPENING = Screen()


def from_query(query: Mapping[str, str]) -> Screen:
    """Read the keys of an address; unknown ones are ignored, nonsense is the default."""
    view, rows = query.get("view"), query.get("rows")
    return Screen(
        window=interval_of([query.get("from"), query.get("to")]),
        view=interval_of(view.split(",") if isinstance(view, str) else None),
        device=_label(query.get("device")),
        against=_label(query.get("against")),
        unit=_one_of(UNITS, query.get("unit")) or "pct",
        mean_s=_one_of(MEANS_S, _whole(query.get("mean"))),
        rows=_rows(rows.split(",") if isinstance(rows, str) else None),
        axis=_one_of(AXES, query.get("axis")) or "elapsed",
    )


def from_store(choices: Any, *, window: Any = None, view: Any = None) -> Screen:
    """Read the stores `ids.SCREEN`, `ids.WINDOW` and `ids.VIEW`; a browser can send what it likes: nonsense is the default."""
    sent = choices if isinstance(choices, Mapping) else {}
    return Screen(
        window=interval_of(window),
        view=interval_of(view),
        device=_label(sent.get("device")),
        against=_label(sent.get("against")),
        unit=_one_of(UNITS, sent.get("unit")) or "pct",
        mean_s=_one_of(MEANS_S, sent.get("mean_s")),
        rows=_rows(sent.get("rows")),
        axis=_one_of(AXES, sent.get("axis")) or "elapsed",
    )


def interval_of(ends: Any) -> Interval | None:
    """Two ends, numbers or their texts, as an interval; None for anything that is none. [s]"""
    if not isinstance(ends, (list, tuple)) or len(ends) != 2 or any(isinstance(end, bool) for end in ends):
        return None
    try:
        start_s, end_s = (float(end) for end in ends)
    except (TypeError, ValueError, OverflowError):
        return None
    sensible = all(math.isfinite(t) and abs(t) <= MAX_TIME_S for t in (start_s, end_s)) and start_s < end_s
    return (start_s, end_s) if sensible else None


def seconds(value_s: float) -> str:
    """A time as addresses write it: to the millisecond, with at least one decimal."""
    text = f"{value_s:.3f}".rstrip("0")
    text = text + "0" if text.endswith(".") else text
    return "0.0" if text == "-0.0" else text


def _label(text: Any) -> str | None:
    return text if isinstance(text, str) and 0 < len(text) <= MAX_LABEL else None


def _whole(text: Any) -> int | None:
    return int(text) if isinstance(text, str) and text.isascii() and text.isdigit() and len(text) < 4 else None


def _one_of(known: Sequence[Any], value: Any) -> Any:
    """The known value that was named, else None; lists and the like name nothing."""
    return next((one for one in known if type(one) is type(value) and one == value), None)


def _rows(named: Any) -> tuple[str, ...]:
    """In the order in which they are drawn, each once."""
    return tuple(row for row in ROWS if isinstance(named, (list, tuple)) and row in named)
