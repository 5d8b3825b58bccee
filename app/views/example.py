"""What a result looks like, drawn small for the first page: the built-in trial's own figures, written down here.

A test compares them with what the analysis says today, so the drawing cannot drift from the truth.
"""

from __future__ import annotations

from collections.abc import Sequence

from dash import html

from app.links import DEMO
from app.views.frozen import Native, frozen

# Held blocks of the built-in trial: (minute of its middle, device minus hub in %).
SPIDER = (
    (4.4, 3.1), (9.5, 2.9), (13.0, 2.8), (16.5, 2.6), (20.0, 2.7), (23.5, 2.6), (27.5, 2.6), (31.0, 2.7), (34.5, 2.9),
    (38.0, 2.9), (41.0, 2.7), (43.0, 2.7), (45.0, 2.6), (47.0, 2.6), (61.7, 2.7),
)  # fmt: skip
PEDALS = (
    (4.4, 4.0), (9.5, 5.2), (13.0, 5.7), (16.5, 6.1), (20.0, 7.0), (23.5, 7.4), (27.5, 7.9), (31.0, 8.5), (34.5, 9.3),
    (38.0, 9.5), (41.0, 9.6), (43.0, 9.5), (45.0, 10.0), (47.0, 10.0), (61.7, 11.1),
)  # fmt: skip
ALLOWANCE_PCT = (-2.0, 7.3)

WIDTH, HEIGHT = 620, 210
LEFT, RIGHT, TOP, BOTTOM = 78, 12, 16, 30
MINUTES, LOW_PCT, HIGH_PCT = 65, -4, 13
WORDS = (
    "From the built-in trial, which is simulated so that the truth is known: each mark is a block of held power, device minus "
    "hub, and the shade is what claims and drivetrain loss can explain. The spider stays inside. The pedals read true when "
    "cold and creep out of it as they warm."
)
TOLD = "Spider minus hub stays near +2.7 %, inside the allowance; pedals minus hub climb from +4 to +11 %, beyond it."


def example() -> html.Figure:
    """The drawing, its words, and the way to the trial it was taken from."""
    shapes = [
        _box(ALLOWANCE_PCT), *(_level(pct) for pct in (-4, 0, 4, 8, 12)),
        *(_text(_x(m), HEIGHT - 8, f"{m} min" if m else "0", "middle") for m in (0, 20, 40, 60)),
        *_trace(SPIDER, "example-spider"), *_trace(PEDALS, "example-pedals"),
        _text(_x(48), _y(0.45), "spider, within", "start"), _text(_x(9), _y(8.5), "pedals, outside", "start"),
        _text(_x(1), _y(-1.6), "allowance", "start"),
    ]  # fmt: skip
    about = {"viewBox": f"0 0 {WIDTH} {HEIGHT}", "role": "img", "aria-label": TOLD, "class": "example-drawing"}
    caption = html.Figcaption([WORDS, " ", html.A("Open that trial", href=DEMO)], className="small")
    return html.Figure([frozen(Native("svg", about, shapes)), caption], className="example")


def _x(minute: float) -> float:
    return round(LEFT + (WIDTH - LEFT - RIGHT) * minute / MINUTES, 1)


def _y(pct: float) -> float:
    return round(TOP + (HEIGHT - TOP - BOTTOM) * (HIGH_PCT - pct) / (HIGH_PCT - LOW_PCT), 1)


def _box(limits: tuple[float, float]) -> Native:
    low, high = _y(limits[0]), _y(limits[1])
    size = {"x": LEFT, "y": high, "width": WIDTH - LEFT - RIGHT, "height": round(low - high, 1)}
    return Native("rect", {**size, "class": "example-band"})


def _level(pct: int) -> list[Native]:
    ends = {"x1": LEFT, "x2": WIDTH - RIGHT, "y1": _y(pct), "y2": _y(pct)}
    line = Native("line", {**ends, "class": "example-zero" if pct == 0 else "example-rule"})
    sign = "+" if pct > 0 else "−" if pct < 0 else ""
    return [line, _text(LEFT - 8, _y(pct) + 4, f"{sign}{abs(pct)} %", "end")]


def _trace(points: Sequence[tuple[float, float]], name: str) -> list[Native]:
    line = Native("polyline", {"points": " ".join(f"{_x(m)},{_y(p)}" for m, p in points), "class": name})
    return [line, *(Native("circle", {"cx": _x(m), "cy": _y(p), "r": 3, "class": f"{name} mark"}) for m, p in points)]


def _text(x: float, y: float, words: str, anchor: str) -> Native:
    return Native("text", {"x": x, "y": y, "text-anchor": anchor}, words)
