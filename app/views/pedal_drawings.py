"""Where in the revolution and where on the platform force acts, drawn: crank circles and pedal platforms from above.

Plain SVG as text, in the page's own ink, so that it prints, follows the theme and needs no script. Angles in degrees, 0 at
the top and onwards as the crank turns; offsets in mm from the platform's middle, outwards positive. Figures stand in a table.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dash import html

from analysis.pedalling import arc_deg
from app.views import parts
from app.views.frozen import Native
from app.views.pictures import plain_table
from app.wording import number, signed, with_unit

SIDES, KINDS = ("left", "right"), ("steady", "free", "transient")  # means are of the first kind that was ridden
# Of the drawings, in their own units.
CIRCLE, RIM, RING_GAP, MARGIN = 220.0, 78.0, 15.0, 14.0
PLATFORM_W, PLATFORM_H, ROW_H, MM = 220.0, 62.0, 22.0, 2.6
REACH_MM = 30  # platforms are some 60 mm wide; beyond that lies the shoe, not the pedal


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """One recording's means on one side; None for what it does not carry. [degrees, mm]"""

    label: str
    phase: tuple[float, float] | None
    peak: tuple[float, float] | None
    offset_mm: float | None


def drawings(told: Mapping[str, Any], labels: Sequence[str]) -> list[Any]:
    """Crank circles and platforms with their tables; nothing of what no recording carries."""
    kinds = {v["kind"] for v in told["values"] if _drawable(v)}
    kind = next((k for k in KINDS if k in kinds), None)
    strokes = {side: [s for label in labels if (s := _stroke(told, label, side, kind))] for side in SIDES}
    return [d for d in (_phases(strokes, kind, labels), _offsets(strokes, kind, labels)) if d is not None]


def _phases(strokes: Mapping[str, list[Stroke]], kind: str | None, labels: Sequence[str]) -> html.Div | None:
    shown = {side: [s for s in own if s.phase or s.peak] for side, own in strokes.items()}
    if not any(shown.values()):
        return None
    rows = [_phase_row(s, side, labels) for side in SIDES for s in shown[side]]
    head = ("recording", "side", "from, °", "to, °", "long, °", "peak from, °", "peak to, °", "peak long, °")
    table = plain_table(f"Power phase, means of {kind} power", head, rows, words=(1,))
    circles = [_circle(shown[side], side, labels) for side in SIDES if shown[side]]
    return _figure(circles, _PHASE_WORDS, shown, labels, table)


def _offsets(strokes: Mapping[str, list[Stroke]], kind: str | None, labels: Sequence[str]) -> html.Div | None:
    shown = {side: [s for s in own if s.offset_mm is not None] for side, own in strokes.items()}
    if not any(shown.values()):
        return None
    rows = [[parts.named(s.label, labels), side, html.Strong(signed(s.offset_mm))] for side in SIDES for s in shown[side]]
    head = ("recording", "side", "offset, mm")
    table = plain_table(f"Platform centre offset, means of {kind} power", head, rows, words=(1,))
    platforms = [_platform(shown[side], side, labels) for side in SIDES if shown[side]]
    return _figure(platforms, _OFFSET_WORDS, shown, labels, table)


_PHASE_WORDS = (
    "The crank's way round, 0° at the top, drawn as turning clockwise on both sides. Thin arc: where the leg drives; thick: "
    "where it drives most. One ring per recording, in the order of the table, the first outermost."
)
_OFFSET_WORDS = (
    "The pedals from above, the crank arms between them. A mark is where the force acts across the platform; outwards counts "
    "as positive."
)


def _drawable(value: Mapping[str, Any]) -> bool:
    return value["block"] is None and ("phase" in value["quantity"] or "offset" in value["quantity"])


def _stroke(told: Mapping[str, Any], label: str, side: str, kind: str | None) -> Stroke | None:
    mean = {v["quantity"]: v["mean"] for v in told["values"] if v["block"] is None and (v["label"], v["kind"]) == (label, kind)}
    spans = {}
    for name in ("power phase", "peak power phase"):
        ends = [mean.get(f"{side} {name} {end}") for end in ("start", "end")]
        spans[name] = None if None in ends else tuple(ends)
    stroke = Stroke(
        label=label, phase=spans["power phase"], peak=spans["peak power phase"],
        offset_mm=mean.get(f"{side} platform centre offset"),
    )  # fmt: skip
    return stroke if stroke.phase or stroke.peak or stroke.offset_mm is not None else None


def _figure(shapes: list[Any], words: str, strokes: Mapping[str, list[Stroke]], labels: Sequence[str], table: Any) -> html.Div:
    names = dict.fromkeys(s.label for own in strokes.values() for s in own)
    legend = html.Ul([html.Li(parts.named(label, labels)) for label in names], className="drawing-legend")
    drawing = html.Figure([html.Div(shapes, className="drawing"), legend, html.Figcaption(words, className="small")])
    return html.Div([drawing, html.Div(table)], className="drawing-and-table")


def _phase_row(stroke: Stroke, side: str, labels: Sequence[str]) -> list[Any]:
    cells: list[Any] = [parts.named(stroke.label, labels), side]
    for span in (stroke.phase, stroke.peak):
        ends = span or (None, None)
        cells += [number(ends[0], 0), number(ends[1], 0), html.Strong(number(arc_deg(*span) if span else None, 0))]
    return cells


def _circle(strokes: Sequence[Stroke], side: str, labels: Sequence[str]) -> Native:
    """A crank circle with one ring per recording, outermost first."""
    middle = CIRCLE / 2
    pieces: list[Any] = [_shape("circle", cx=middle, cy=middle, r=RIM + 10, **{"class": "rim"})]
    for angle in (0, 90, 180, 270):
        x, y = _at(middle, RIM + 10, angle)
        pieces.append(_shape("line", x1=middle, y1=middle, x2=x, y2=y, **{"class": "spoke"}))
        tx, ty = _at(middle, RIM + 23, angle)
        pieces.append(_text(f"{angle}°", tx, ty + 4))
    for ring, stroke in enumerate(strokes):
        radius = RIM - ring * RING_GAP
        for span, name in ((stroke.phase, "phase"), (stroke.peak, "peak")):
            if span and radius > 0:
                colour = f"{name} series-stroke-{_series(stroke.label, labels)}"
                pieces.append(_shape("path", d=_arc(middle, radius, *span), **{"class": colour}))
    pieces.append(_text(side, middle, middle + 4, name="side"))
    return _svg(CIRCLE, CIRCLE, pieces, f"Power phase of the {side} side: {'; '.join(map(_phase_words, strokes))}")


def _platform(strokes: Sequence[Stroke], side: str, labels: Sequence[str]) -> Native:
    """One pedal from above; the axle reaches towards the crank, which lies between the two pedals."""
    outwards, middle = -1 if side == "left" else 1, PLATFORM_W / 2
    body = PLATFORM_H + ROW_H * len(strokes)
    axle_x = middle - outwards * REACH_MM * MM
    pieces: list[Any] = [
        _shape("line", x1=axle_x, y1=body / 2, x2=axle_x - outwards * 26, y2=body / 2, **{"class": "axle"}),
        _shape("rect", x=middle - REACH_MM * MM, y=4, width=2 * REACH_MM * MM, height=body - 8, rx=14, **{"class": "platform"}),
        _shape("line", x1=middle, y1=4, x2=middle, y2=body - 4, **{"class": "spoke"}),
    ]
    for row, stroke in enumerate(strokes):
        y = PLATFORM_H / 2 + 6 + row * ROW_H
        x = middle + outwards * MM * max(-REACH_MM, min(REACH_MM, stroke.offset_mm or 0.0))
        series = _series(stroke.label, labels)
        pieces.append(_shape("line", x1=middle, y1=y, x2=x, y2=y, **{"class": f"reach series-stroke-{series}"}))
        pieces.append(_shape("circle", cx=x, cy=y, r=6, **{"class": f"series-fill-{series}"}))
    for mm in (-20, -10, 0, 10, 20):
        x = middle + outwards * MM * mm
        pieces.append(_shape("line", x1=x, y1=body - 2, x2=x, y2=body + 4, **{"class": "spoke"}))
        pieces.append(_text(signed(mm, 0), x, body + 17, name="tick minor" if abs(mm) == 10 else "tick"))
    pieces.append(_text(f"{side}, mm outwards", middle, body + 37))
    words = "; ".join(f"{s.label} {with_unit(signed(s.offset_mm), 'mm')}" for s in strokes)
    return _svg(PLATFORM_W, body + 43, pieces, f"Platform centre offset of the {side} pedal: {words}")


def _phase_words(stroke: Stroke) -> str:
    told = [f"{name} from {number(span[0], 0)}° to {number(span[1], 0)}°"
            for name, span in (("drives", stroke.phase), ("most", stroke.peak)) if span]  # fmt: skip
    return f"{stroke.label} {', '.join(told)}"


def _series(label: str, labels: Sequence[str]) -> int:
    """The place of its colour in the style sheet, as its line sample has it."""
    index = labels.index(label)
    return 0 if index == 0 else (index - 1) % (parts.SERIES - 1) + 1


def _arc(middle: float, radius: float, start_deg: float, end_deg: float) -> str:
    """From start to end the way the crank turns, past the top where it must be."""
    (x1, y1), (x2, y2) = _at(middle, radius, start_deg), _at(middle, radius, end_deg)
    large = int(arc_deg(start_deg, end_deg) > 180)
    return f"M {x1:.2f} {y1:.2f} A {radius:g} {radius:g} 0 {large} 1 {x2:.2f} {y2:.2f}"


def _at(middle: float, radius: float, angle_deg: float) -> tuple[float, float]:
    turned = math.radians(angle_deg)
    return middle + radius * math.sin(turned), middle - radius * math.cos(turned)


def _svg(width: float, height: float, pieces: list[Any], says: str) -> Native:
    box = f"{-MARGIN:g} 0 {width + 2 * MARGIN:g} {height:g}"
    shown = {"viewBox": box, "role": "img", "aria-label": says, "class": "pedal-drawing"}
    return Native("svg", shown, pieces)


def _shape(tag: str, **attributes: Any) -> Native:
    return Native(tag, {k: f"{v:.2f}" if isinstance(v, float) else v for k, v in attributes.items()})


def _text(text: str, x: float, y: float, *, name: str = "tick") -> Native:
    return Native("text", {"x": f"{x:.2f}", "y": f"{y:.2f}", "text-anchor": "middle", "class": name}, text)
