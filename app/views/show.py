"""The quiet row above the overlay: unit, device, what it is held against, smoothing, further rows, time axis.

Plain buttons and selects, which `assets/34-show.js` keeps equal to the screen; `data-show` names what each one chooses.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from analysis.figures import CHANNEL_ROWS, rows_recorded
from analysis.trial import Trial
from app.screen import MEANS_S, Screen
from app.views.frozen import Native, frozen

UNIT_NAMES = {"pct": "%", "w": "W"}
AXIS_NAMES = {"elapsed": "elapsed", "clock": "UTC"}
ROW_NAMES = {"temperature": "temperature", "balance": "balance"}  # the row itself says whose


def show_row(trial: Trial, screen: Screen) -> html.Div:
    """The controls that this trial has something to choose for, set as the screen is."""
    labels, rows = trial.labels, rows_recorded(trial)
    groups: list[Any] = []
    if len(labels) > 1:
        groups.append(_segments("Differences", "unit", UNIT_NAMES, screen.unit))
        groups.append(_devices(labels, screen))
        groups.append(_against(labels, screen))
    groups.append(_smoothing(screen))
    if rows:
        names = {row: ROW_NAMES.get(row, CHANNEL_ROWS[row].name) for row in rows}
        groups.append(_segments("Rows", "rows", names, *screen.rows))
    if trial.start_utc:
        groups.append(_segments("Time", "axis", AXIS_NAMES, screen.axis))
    return frozen(html.Div(groups, className="show-row", role="group", **{"aria-label": "What the overlay shows"}))


def _segments(name: str, choice: str, values: dict[str, str], *chosen: str) -> html.Div:
    buttons = [
        Native(
            "button",
            {"type": "button", "data-show": choice, "data-value": value, "aria-pressed": str(value in chosen).lower()},
            words,
        )
        for value, words in values.items()
    ]
    group = html.Span(buttons, className="segments", role="group", **{"aria-label": name})
    return html.Div([html.Span(name, className="show-name", **{"aria-hidden": "true"}), group], className="show-group")


def _devices(labels: Sequence[str], screen: Screen) -> html.Label:
    held = screen.against or labels[0]
    options = [("", "all", False)] + [(label, label, label == held) for label in labels]
    return _select("of", "device", options, screen.device or "", says="Device shown")


def _against(labels: Sequence[str], screen: Screen) -> html.Label:
    options = [("", labels[0], False)] + [(label, label, False) for label in labels[1:]]
    return _select("minus", "against", options, screen.against or "", says="Held against")


def _smoothing(screen: Screen) -> html.Label:
    options = [("", "by zoom", False)] + [(str(s), f"{s} s", False) for s in MEANS_S]
    return _select("Smoothing", "mean_s", options, str(screen.mean_s or ""), says="Smoothing, for display only")


def _select(name: str, choice: str, options: Sequence[tuple[str, str, bool]], chosen: str, *, says: str) -> html.Label:
    items = [
        Native("option", {"value": value, "selected": value == chosen, "disabled": disabled}, words)
        for value, words, disabled in options
    ]
    select = Native("select", {"data-show": choice, "aria-label": says}, items)
    return html.Label([html.Span(name, className="show-name"), select], className="show-group")
