"""The bench sheet as a picture: every claimed quantity's deviation from its claim, with the measurement's uncertainty.

Percent of the claim, so that grams, millimetres and hours share one axis; the short bar around zero is the stated tolerance.
A run that was stopped early points to the right: the true figure lies there.
"""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go

from analysis.bench_sheet import Measured
from analysis.figures.ink import Theme, blank_figure, faded, ink_of, line_style, plain_axis
from analysis.figures.naming import row_name
from analysis.figures.ticks import round_ticks, signed_text

ROW_PX = 40
BENCH_MARGIN_PX = {"l": 8, "r": 8, "t": 14, "b": 40}
MARKERS = {"agrees": "circle", "differs": "triangle-up", "cannot tell": "diamond-open"}
AT_LEAST = {"agrees": "triangle-right", "differs": "triangle-right", "cannot tell": "triangle-right-open"}
MAX_SHOWN_PCT = 100.0
BAR = 0.17  # half the height of a tolerance's bar, in rows


def drawn_rows(measured: Sequence[tuple[str, Measured]]) -> list[tuple[str, Measured]]:
    """Those (device, row) that can be drawn: a claim that is not zero."""
    return [(d, m) for d, m in measured if m.row.claimed]


def bench_height_px(measured: Sequence[tuple[str, Measured]]) -> int:
    """Height of the figure. [px]"""
    return max(len(drawn_rows(measured)), 1) * ROW_PX + BENCH_MARGIN_PX["t"] + BENCH_MARGIN_PX["b"]


def bench_picture(measured: Sequence[tuple[str, Measured]], *, theme: Theme = "light") -> go.Figure:
    """Draw (device, row) pairs in the order given; devices are told by colour and by name."""
    ink, rows = ink_of(theme), drawn_rows(measured)
    figure = blank_figure(theme, height_px=bench_height_px(measured), margin_px=BENCH_MARGIN_PX)
    devices = list(dict.fromkeys(d for d, _ in rows))
    low, high = _limits([m for _, m in rows])
    ticks = round_ticks([low, high])
    names = [f"{d}: {m.row.quantity}" if len(devices) > 1 else m.row.quantity for d, m in rows]
    figure.update_layout(
        xaxis=plain_axis(
            theme, range=[low, high], tickvals=ticks, ticktext=signed_text(ticks), zeroline=True, zerolinecolor=ink.muted,
            title={"text": "deviation from the claim [%]", "font": {"size": 12, "color": ink.muted}, "standoff": 6},
        ),
        yaxis=plain_axis(
            theme, range=[len(rows) - 0.5, -0.5], showgrid=False, showticklabels=False,
        ),
        annotations=[row_name(name, place, theme) for place, name in enumerate(names)],
    )  # fmt: skip
    for place, (_, m) in enumerate(rows):
        if m.row.tolerance:
            half = 100 * m.row.tolerance / abs(m.row.claimed)
            figure.add_shape(
                type="rect", xref="x", yref="y", x0=-half, x1=half, y0=place - BAR, y1=place + BAR, fillcolor=ink.band,
                line={"width": 0}, layer="below",
            )  # fmt: skip
    for i, device in enumerate(devices, start=1):
        _points(figure, [(p, m) for p, (d, m) in enumerate(rows) if d == device], device, line_style(i, theme).colour)
    return figure


def _limits(measured: Sequence[Measured]) -> tuple[float, float]:
    edges = [-2.0, 2.0]
    for m in measured:
        share, half = _share(m), 100 * (m.expanded or 0.0) / abs(m.row.claimed)
        edges += [share - half, share + half]
    low, high = max(min(edges), -MAX_SHOWN_PCT), min(max(edges), MAX_SHOWN_PCT)
    pad = 0.08 * (high - low)
    return low - pad, high + pad


def _share(m: Measured) -> float:
    return 100 * (m.delta or 0.0) / abs(m.row.claimed)


def _points(figure: go.Figure, rows: Sequence[tuple[int, Measured]], device: str, colour: str) -> None:
    figure.add_scatter(
        x=[_share(m) for _, m in rows],
        y=[place for place, _ in rows],
        mode="markers",
        meta={"device": device},
        marker={"color": colour, "size": 8, "symbol": [_marker(m) for _, m in rows]},
        error_x={
            "array": [100 * (m.expanded or 0.0) / abs(m.row.claimed) for _, m in rows],
            "color": faded(colour, 0.6),
            "thickness": 1.4,
            "width": 0,
        },
    )


def _marker(m: Measured) -> str:
    return (AT_LEAST if m.row.stopped_early else MARKERS)[m.answer or "cannot tell"]
