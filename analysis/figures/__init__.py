"""The only plotly room: report dict and trial in, plotly figure out. Pictures only; no number is made here."""

from analysis.figures.against import against, against_height_px
from analysis.figures.behind import behind_height_px, behind_picture
from analysis.figures.bench import bench_height_px, bench_picture, drawn_rows
from analysis.figures.clocks import match_height_px, match_picture, matched_signals, stretch_height_px, stretch_picture
from analysis.figures.dependence import curves_of, dependence_height_px, dependence_picture
from analysis.figures.forest import forest_height_px, forest_picture
from analysis.figures.ink import INKS, Theme, line_style
from analysis.figures.look import CHANNEL_ROWS, Look, rows_recorded
from analysis.figures.overlay import MARGIN_PX, clamp_view, height_px, overlay
from analysis.figures.peaks import bests_height_px, bests_picture, duration_text, sprints_height_px, sprints_picture
from analysis.figures.scatter import scatter_height_px, scatter_picture, shown_agreements
from analysis.figures.thinning import RUNNING_S
from analysis.figures.ticks import clock_text
from analysis.figures.transitions import (
    changes_height_px,
    changes_picture,
    sprint_traces_height_px,
    sprint_traces_picture,
)

__all__ = [
    "CHANNEL_ROWS",
    "INKS",
    "MARGIN_PX",
    "RUNNING_S",
    "Look",
    "Theme",
    "against",
    "against_height_px",
    "behind_height_px",
    "behind_picture",
    "bench_height_px",
    "bench_picture",
    "bests_height_px",
    "bests_picture",
    "changes_height_px",
    "changes_picture",
    "clamp_view",
    "clock_text",
    "curves_of",
    "dependence_height_px",
    "dependence_picture",
    "drawn_rows",
    "duration_text",
    "forest_height_px",
    "forest_picture",
    "height_px",
    "line_style",
    "match_height_px",
    "match_picture",
    "matched_signals",
    "overlay",
    "rows_recorded",
    "scatter_height_px",
    "scatter_picture",
    "shown_agreements",
    "sprint_traces_height_px",
    "sprint_traces_picture",
    "sprints_height_px",
    "sprints_picture",
    "stretch_height_px",
    "stretch_picture",
]
