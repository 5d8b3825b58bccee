"""The overlay with its selection layer, its legend that reads out the second under the cursor, and its buttons."""

from __future__ import annotations

import json
from typing import Any

from dash import dcc, html

from analysis.figures import MARGIN_PX, RUNNING_S, height_px
from analysis.trial import Trial
from app import ids
from app.screen import Screen
from app.views import parts
from app.views.taking import take_menu
from app.wording import clock_text

GRAPH_CONFIG = {"staticPlot": True, "displayModeBar": False}


def overlay_panel(trial: Trial, screen: Screen, *, layer: Any = None, figure: Any = None) -> html.Figure:
    """Legend, chart and selection layer; the chart itself is drawn by its callback, in the reader's theme.

    `layer` lies over the block strip and bears marks and handles; `figure` is the chart, where it is at hand already.
    """
    height = height_px(len(trial.labels) - 1)
    drawn = {} if figure is None else {"figure": figure}
    chart = html.Div(
        [
            html.Div(
                dcc.Graph(id=ids.OVERLAY, config=GRAPH_CONFIG, responsive=True, style={"height": f"{height}px"}, **drawn),
                **{"aria-hidden": "true"},
            ),
            html.Span(className="readout-clock", id="readout-clock"),
            _scrub_layer(trial, screen.window),
            layer,
        ],
        className="chart-box",
        style={"minHeight": f"{height}px"},
    )
    differences = f"; the differences are running means over {RUNNING_S} s" if len(trial.labels) > 1 else ""
    caption = html.Figcaption(
        "Drag across the chart to select an interval, or click a block. By keyboard: tab to one of the two edges; the "
        "arrow keys move it by a second, with shift by ten; Escape selects the whole trial. Behind the power lines, "
        f"the shade runs from the lowest to the highest sample of each step{differences}. Section 2 holds the same in figures.",
        className="small",
    )
    label = "Power of all recordings, difference of each device from the reference, and blocks, over time"
    ends = {name: None if ends is None else list(ends) for name, ends in (("window", screen.window), ("view", screen.view))}
    state = {"data-screen": json.dumps({**screen.to_store(), **ends})}
    parts_ = [_legend(trial), chart, _buttons(), take_menu(), caption]
    return html.Figure(parts_, className="overlay", **{"aria-label": label, **state})


def _legend(trial: Trial) -> html.Div:
    entries = []
    for label in trial.labels:
        reference = label == trial.reference and len(trial.labels) > 1
        role = html.Span(" reference", className="small") if reference else None
        value = html.Span(className="readout", **{"data-readout": label})
        entries.append(html.Li([parts.named(label, trial.labels), role, value]))
    return html.Div(html.Ul(entries), className="legend")


def _scrub_layer(trial: Trial, window: tuple[float, float] | None) -> html.Div:
    whole = (trial.start_s, trial.end_s)
    start_s, end_s = window or whole
    left, right = (100 * (t - whole[0]) / (whole[1] - whole[0]) for t in (start_s, end_s))
    band = html.Div(
        className="scrub-band", style={"left": f"{left:.4f}%", "width": f"{right - left:.4f}%"}, hidden=window is None
    )
    children: list[Any] = [band, html.Div(className="scrub-cursor", hidden=True)]
    for name, at_s, at in (("from", start_s, left), ("to", end_s, right)):
        slider = {
            "data-edge": name,
            "aria-label": f"Interval {name}",
            "aria-valuemin": f"{whole[0]:.0f}",
            "aria-valuemax": f"{whole[1]:.0f}",
            "aria-valuenow": f"{at_s:.0f}",
            "aria-valuetext": clock_text(at_s),
        }
        children.append(
            html.Div(
                html.Span(),
                className="scrub-handle",
                role="slider",
                tabIndex="0",
                style={"left": f"{at:.4f}%"},
                **slider,
            )
        )
    place = {"left": f"{MARGIN_PX['l']}px", "right": f"{MARGIN_PX['r']}px", "top": f"{MARGIN_PX['t']}px"}
    data = {"data-start": str(whole[0]), "data-end": str(whole[1]), "data-from": str(start_s), "data-to": str(end_s)}
    return html.Div(children, id=ids.SCRUB, style={**place, "bottom": f"{MARGIN_PX['b']}px"}, **data)


def _buttons() -> html.Div:
    names = (
        (ids.ZOOM_IN, "Zoom to interval"),
        (ids.ZOOM_OUT, "Show whole trial"),
        (ids.EARLIER, "← Earlier"),
        (ids.LATER, "Later →"),
    )
    buttons = [html.Button(text, id=name, type="button", className="quiet", n_clicks=0) for name, text in names]
    buttons.append(html.Button("Copy reader link", type="button", className="quiet", **{"data-copy": "address"}))
    return html.Div(buttons, className="button-row")
