"""Close-ups of the response: all changes of power over each other, and every sprint as each device wrote it.

Reads the report and the aligned trial. Changes in shares of the reference's own step, sprints in watts; seconds along.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from analysis.aligned import AFTER_S, BEFORE_S, laid_over
from analysis.blocks import Block, surges
from analysis.figures.ink import Theme, faded, ink_of, line_style
from analysis.figures.panels import Grid, add_panel, blank_grid
from analysis.figures.thinning import samples_in
from analysis.report import blocks_of
from analysis.trial import Trial

COLUMNS, SPRINT_COLUMNS = 2, 3
MAX_SPRINTS = 6  # more small plots than this tell nothing new
SPRINT_BEFORE_S, SPRINT_AFTER_S = 6.0, 10.0


def changes_height_px() -> int:
    """Height of the picture of all changes. [px]"""
    return Grid(panels=2, columns=COLUMNS).height_px


def changes_picture(report: Mapping[str, Any], trial: Trial, label: str, *, theme: Theme = "light") -> go.Figure | None:
    """Rises and falls of one device and the reference, aligned where the reference is half-way; None without a change."""
    laid = laid_over(trial, blocks_of(report), (trial.reference, label))
    if not laid:
        return None
    grid = Grid(panels=2, columns=COLUMNS)
    figure = blank_grid(grid, theme)
    for place, rises in enumerate((True, False)):
        own = [one for one in laid if one.rises == rises]
        along = {"title": {"text": "seconds from half-way [s]"}, "range": [-BEFORE_S, AFTER_S]}
        n = own[0].at_s.shape[0] if own else 0
        name = f"{n} rises [% of the step]" if rises else f"{n} falls, upside down [%]"
        axes = add_panel(figure, grid, place, theme=theme, along=along, limits=(-35, 160), name=name, tick=str)
        for one in own:
            style = line_style(trial.labels.index(one.label), theme)
            on = {"xaxis": axes[0], "yaxis": axes[1], "mode": "lines"}
            if one.label == label:
                figure.add_scatter(
                    x=_joined(one.at_s), y=_joined(100 * one.share_frac), meta={"kind": "changes", "label": label},
                    line={"color": faded(style.colour, 0.28), "width": 1}, **on,
                )  # fmt: skip
            if one.grid_s.size:
                figure.add_scatter(
                    x=one.grid_s, y=100 * one.mean_frac, meta={"kind": "mean", "label": one.label},
                    line={"color": style.colour, "dash": style.dash, "width": style.width_px + 0.8}, **on,
                )  # fmt: skip
        figure.add_shape(
            type="line", xref=axes[0], yref=f"{axes[1]} domain", x0=0, x1=0, y0=0, y1=1, layer="below",
            line={"color": ink_of(theme).muted, "width": 1, "dash": "dot"},
        )  # fmt: skip
    return figure


def sprint_traces_height_px(report: Mapping[str, Any]) -> int:
    """Height of the picture of the sprints. [px]"""
    return Grid(panels=max(len(_shown(blocks_of(report))), 1), columns=SPRINT_COLUMNS).height_px


def sprint_traces_picture(report: Mapping[str, Any], trial: Trial, *, theme: Theme = "light") -> go.Figure | None:
    """Every sprint, at most `MAX_SPRINTS` of the strongest, as the recordings hold it; None without one."""
    shown = _shown(blocks_of(report))
    if not shown:
        return None
    grid = Grid(panels=len(shown), columns=SPRINT_COLUMNS)
    figure = blank_grid(grid, theme)
    traces = [[_samples(trial, label, block) for label in trial.labels] for block in shown]
    top = max((float(np.nanmax(y)) for own in traces for _, y in own if np.isfinite(y).any()), default=100.0)
    for place, (block, own) in enumerate(zip(shown, traces, strict=True)):
        along = {"title": {"text": "seconds [s]"}, "range": [-SPRINT_BEFORE_S, block.length_s + SPRINT_AFTER_S]}
        name = f"{block.name or block.id} [W]"
        axes = add_panel(figure, grid, place, theme=theme, along=along, limits=(0, 1.06 * top), name=name, tick=str)
        for i, (x, y) in enumerate(own):
            style = line_style(i, theme)
            figure.add_scatter(
                x=x, y=y, mode="lines+markers", xaxis=axes[0], yaxis=axes[1], meta={"kind": "sprint", "label": trial.labels[i]},
                line={"color": style.colour, "dash": style.dash, "width": style.width_px},
                marker={"size": 3, "color": style.colour},
            )  # fmt: skip
    return figure


def _shown(blocks: Sequence[Block]) -> list[Block]:
    found = [b for b in surges(blocks) if b.excluded_reason is None]
    strongest = sorted(found, key=lambda b: -(b.level_w or 0.0))[:MAX_SPRINTS]
    return sorted(strongest, key=lambda b: b.start_s)


def _samples(trial: Trial, label: str, block: Block) -> tuple[np.ndarray, np.ndarray]:
    """Samples as recorded, seconds from the block's start."""
    recording = trial.recording(label)
    view = (block.start_s - SPRINT_BEFORE_S, block.end_s + SPRINT_AFTER_S)
    at, power = samples_in(recording.time_s, recording.channels["power_w"], view, interval_s=recording.interval_s)
    return at - block.start_s, power


def _joined(rows: np.ndarray) -> np.ndarray:
    """Rows one after another with a gap between them: one trace instead of one each."""
    return np.column_stack((rows, np.full(rows.shape[0], np.nan))).ravel()
