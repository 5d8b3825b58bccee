"""Trials of one device under each other, and what they say together: one row per trial, its delta with its interval.

Reads a standing (and those per firmware); percent of the reference. The shade is the allowance; a lozenge is the mean over
trials with its interval, the hairline through it where the next trial is to be expected.
"""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go

from analysis.dossier.standing import Standing
from analysis.figures.ink import VERDICT_MARKERS, Theme, blank_figure, faded, ink_of, line_style, plain_axis
from analysis.figures.naming import row_name
from analysis.figures.ticks import round_ticks, signed_text
from analysis.replicates import TrialDelta
from analysis.verdict import verdict_on

ROW_PX = 40
FOREST_MARGIN_PX = {"l": 8, "r": 8, "t": 14, "b": 40}
LOZENGE = 0.17  # half its height, in rows
MAX_SHOWN_PCT = 60.0


def forest_height_px(standing: Standing, by_firmware: Sequence[tuple[str, Standing]] = ()) -> int:
    """Height of the figure with a row per trial and per mean. [px]"""
    return len(_rows(standing, by_firmware)) * ROW_PX + FOREST_MARGIN_PX["t"] + FOREST_MARGIN_PX["b"]


def forest_picture(
    standing: Standing, by_firmware: Sequence[tuple[str, Standing]] = (), *, theme: Theme = "light"
) -> go.Figure:
    """Draw it; with several firmwares, each is a group with its own mean, the mean of all comes last."""
    ink, rows = ink_of(theme), _rows(standing, by_firmware)
    figure = blank_figure(theme, height_px=forest_height_px(standing, by_firmware), margin_px=FOREST_MARGIN_PX)
    low, high = _limits(rows, standing)
    ticks = round_ticks([low, high])
    figure.update_layout(
        xaxis=plain_axis(
            theme, range=[low, high], tickvals=ticks, ticktext=signed_text(ticks), zeroline=True, zerolinecolor=ink.muted,
            title={"text": "device minus reference [%]", "font": {"size": 12, "color": ink.muted}, "standoff": 6},
        ),
        yaxis=plain_axis(
            theme, range=[len(rows) - 0.5, -0.5], showgrid=False, showticklabels=False,
        ),
        annotations=[row_name(name, place, theme, bold=isinstance(what, Standing)) for place, (name, what) in enumerate(rows)],
    )  # fmt: skip
    figure.add_shape(
        type="rect", xref="x", yref="paper", x0=standing.allowance_pct[0], x1=standing.allowance_pct[1], y0=0, y1=1,
        fillcolor=ink.band, line={"width": 0}, layer="below",
    )  # fmt: skip
    _trials(figure, rows, standing, line_style(1, theme).colour)
    for place, (_, what) in enumerate(rows):
        if isinstance(what, Standing):
            _mean(figure, what, place, ink.text, (low, high))
    return figure


def _rows(standing: Standing, by_firmware: Sequence[tuple[str, Standing]]) -> list[tuple[str, TrialDelta | Standing]]:
    rows: list[tuple[str, TrialDelta | Standing]] = []
    for firmware, own in by_firmware:
        rows += [(d.trial, d) for d in own.across.trials]
        rows += [(f"firmware {firmware}", own)] if own.across.pooled is not None else []
    if not by_firmware:
        rows += [(d.trial, d) for d in standing.across.trials]
    return [*rows, ("all trials", standing)] if standing.across.pooled is not None else rows


def _limits(rows: Sequence[tuple[str, TrialDelta | Standing]], standing: Standing) -> tuple[float, float]:
    edges = [0.0, *standing.allowance_pct]
    for _, what in rows:
        edges += what.ci_pct if isinstance(what, TrialDelta) else what.across.pooled.ci
    low, high = max(min(edges), -MAX_SHOWN_PCT), min(max(edges), MAX_SHOWN_PCT)
    pad = 0.08 * (high - low)
    return low - pad, high + pad


def _trials(figure: go.Figure, rows: Sequence[tuple[str, TrialDelta | Standing]], standing: Standing, colour: str) -> None:
    """All trials in one trace, each with the mark of its verdict against the allowance that is drawn."""
    allowance_pct = standing.allowance_pct
    drawn = [(place, d) for place, (_, d) in enumerate(rows) if isinstance(d, TrialDelta)]
    figure.add_scatter(
        x=[d.delta_pct for _, d in drawn],
        y=[place for place, _ in drawn],
        mode="markers",
        meta={"kind": "trials"},
        marker={"color": colour, "size": 8, "symbol": [VERDICT_MARKERS[_word(d, allowance_pct)] for _, d in drawn]},
        error_x={
            "array": [d.ci_pct[1] - d.delta_pct for _, d in drawn], "color": faded(colour, 0.6), "thickness": 1.4, "width": 0,
        },
    )  # fmt: skip


def _word(delta: TrialDelta, allowance_pct: tuple[float, float]) -> str:
    return verdict_on(delta.delta_pct, delta.ci_pct, allowance_pct, enough=True).word


def _mean(figure: go.Figure, standing: Standing, place: int, colour: str, seen: tuple[float, float]) -> None:
    pooled, inner = standing.across.pooled, 0.015 * (seen[1] - seen[0])
    if pooled.prediction is not None:
        first, last = max(pooled.prediction[0], seen[0] + inner), min(pooled.prediction[1], seen[1] - inner)
        figure.add_scatter(
            x=[first, last], y=[place, place], mode="lines", line={"color": colour, "width": 1, "dash": "dot"},
            meta={"kind": "prediction"},
        )  # fmt: skip
    first, last = pooled.ci
    figure.add_scatter(
        x=[first, pooled.mean, last, pooled.mean, first],
        y=[place, place - LOZENGE, place, place + LOZENGE, place],
        mode="lines",
        fill="toself",
        fillcolor=colour,
        line={"color": colour, "width": 1},
        meta={"kind": "mean"},
    )
