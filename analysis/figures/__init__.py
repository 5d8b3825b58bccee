"""The only plotly room: report dict and trial in, plotly figure out. Pictures only; no number is made here."""

from analysis.figures.ink import INKS, Theme, line_style
from analysis.figures.overlay import MARGIN_PX, clamp_view, clock_text, height_px, overlay
from analysis.figures.thinning import RUNNING_S

__all__ = ["INKS", "MARGIN_PX", "RUNNING_S", "Theme", "clamp_view", "clock_text", "height_px", "line_style", "overlay"]
