"""The overlay: what it shows, its legend that reads out the second under the cursor, chart, selection layer and buttons."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from analysis.figures import MARGIN_PX, Look, height_px, rows_recorded
from analysis.trial import Trial
from app import ids
from app.screen import Screen
from app.views import parts
from app.views.frozen import frozen
from app.views.show import show_row
from app.views.sprints import sprint_row
from app.views.taking import take_menu
from app.wording import clock_text

GRAPH_CONFIG = {"staticPlot": True, "displayModeBar": False}
KEYS = (
    ("[ and ]", "the block before, the next block"),
    ("+ and −", "zoom in and out; likewise the wheel with ctrl"),
    ("← and →", "an earlier, a later stretch; likewise dragging with shift, or the wheel sideways"),
    ("0", "the whole trial"),
    ("Enter", "zoom to the interval"),
    ("> and <", "a wider, a narrower interval"),
    ("f", "full screen and back"),
    ("Escape", "select the whole trial"),
)


def look_of(screen: Screen) -> Look:
    """What the analysis draws for a screen that has been fitted to its trial."""
    return Look(**{name: getattr(screen, name) for name in ("device", "against", "unit", "mean_s", "rows", "axis")})


def box_style(figure_height_px: float) -> dict[str, str]:
    """The height of the box that holds the chart; in full screen the style sheet makes it taller."""
    return {"--chart-height": f"{figure_height_px:.0f}px"}


def overlay_panel(
    trial: Trial,
    screen: Screen,
    *,
    blocks: Sequence[Mapping[str, Any]] = (),
    layer: Any = None,
    figure: Any = None,
) -> html.Figure:
    """Controls, legend, chart and selection layer; the chart itself is drawn by its callback, in the reader's theme.

    `blocks` are the report's, for the way to its sprints; `layer` lies over the block strip and bears marks and handles;
    `figure` is the chart, where it is at hand already.
    """
    look = look_of(screen)
    rows = [row for row in look.rows if row in rows_recorded(trial)]
    drawn = {} if figure is None else {"figure": figure}
    graph = dcc.Graph(id=ids.OVERLAY, config=GRAPH_CONFIG, responsive=True, style={"height": "100%"}, **drawn)
    chart = html.Div(
        [
            html.Div(graph, className="chart-itself", **{"aria-hidden": "true"}),
            html.Span(className="readout-clock", id="readout-clock"),
            _scrub_layer(trial, screen.window),
            layer,
        ],
        id=ids.CHART_BOX,
        className="chart-box",
        style=box_style(height_px(len(look.compared(trial)), len(rows))),
        tabIndex="0",
        role="group",
        **{"aria-label": "Chart", "aria-describedby": "overlay-keys"},
    )
    # while deltas are hidden one trace stands for all recordings, and nothing else is drawn or listed
    strips = "; the shade in a difference strip is the allowance" if len(trial.labels) > 1 else ""
    section = " Section 2 holds the same in figures." if len(trial.labels) > 1 else ""
    caption = html.Figcaption(
        "Drag across the chart to select an interval, or click a block. The shade behind the power lines runs from the lowest "
        f"to the highest sample, so that no peak is lost{strips}. Zoom and smoothing are for display only: every figure rests "
        f"on the samples as recorded.{section}",
        className="small",
    )
    ends = {name: None if ends is None else list(ends) for name, ends in (("window", screen.window), ("view", screen.view))}
    told = {"data-screen": json.dumps({**screen.to_store(), **ends})}
    told["aria-label"] = "Power of all recordings, difference of each device from the reference, and blocks, over time"
    below = [sprint_row(blocks), _buttons(), take_menu(), caption, _keys()]
    return html.Figure([show_row(trial, screen), _legend(trial), chart, *below], className="overlay", **told)


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
    groups = (
        ("Zoom", (("zoom-closer", "+", "Zoom in"), ("zoom-wider", "−", "Zoom out"),
                  (ids.ZOOM_IN, "to interval", "Zoom to interval"), (ids.ZOOM_OUT, "whole trial", "Show whole trial"))),
        ("Move", ((ids.EARLIER, "← earlier", "An earlier stretch"), (ids.LATER, "later →", "A later stretch"))),
        ("Interval", (("block-before", "‹ block", "Select the block before"), ("block-next", "block ›", "Select the next block"),
                      ("interval-narrower", "narrower", "Narrower by a second at either end"),
                      ("interval-wider", "wider", "Wider by a second at either end"))),
    )  # fmt: skip
    rows = [
        html.Span(
            [html.Span(name, className="show-name", **{"aria-hidden": "true"}), *(_button(*one) for one in buttons)],
            className="button-group", role="group", **{"aria-label": name},
        )
        for name, buttons in groups
    ]  # fmt: skip
    rows.append(_button("full-screen", "Full screen", None, **{"aria-pressed": "false"}))
    rows.append(html.Button("Copy reader link", type="button", className="quiet", **{"data-copy": "address"}))
    return html.Div(rows, className="button-row view-buttons")


def _button(name: str, words: str, says: str | None, **more: Any) -> html.Button:
    told = {} if says is None else {"aria-label": says}
    return html.Button(words, id=name, type="button", className="quiet", title=says, **told, **more)


def _keys() -> html.Div:
    lines = [piece for keys, what in KEYS for piece in (html.Dt(keys), html.Dd(what))]
    edges = (
        "While the chart or anything around it has the focus. Either edge of the interval can be reached by tab: the arrow "
        "keys move it by a second, with shift by ten, page up and down by a minute."
    )
    touch = (
        "On a touch screen one finger across selects, two fingers zoom and pan, a tap reads the values at a second. A double "
        "tap or double click shows the whole trial, on a block that block."
    )
    told = [html.P(text, className="small") for text in (edges, touch)]
    words = [html.Summary("Keys and touch"), *told, html.Dl(lines, className="facts keys")]
    return frozen(html.Details(words, className="fold", id="overlay-keys"))
