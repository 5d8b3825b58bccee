"""The overlay as a picture: quiet buttons in a fold; `assets/70-take.js` makes the files, in the browser."""

from __future__ import annotations

from dash import html

from app.views.frozen import frozen

KINDS = (
    ("png-1", "PNG", "As wide as on the screen"),
    ("png-2", "PNG, double size", "As on the screen, twice the pixels"),
    ("video", "PNG, 1920 × 1080", "For a video, larger type"),
    ("clear", "PNG, clear background", "Double size, to lay over something else"),
    ("svg", "SVG", "For print, sharp at any size"),
)


def take_menu() -> html.Div:
    """The fold with one button per kind of file."""
    buttons = [
        html.Button(word, type="button", className="quiet", title=tip, **{"data-take": name}) for name, word, tip in KINDS
    ]
    row = html.Div([*buttons, html.Span(role="status")], className="button-row")
    return frozen(html.Details([html.Summary("Take the chart"), row], className="take"))
