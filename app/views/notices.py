"""What stands on the trial page while there is no result: progress, or the sentence that says why there is none."""

from __future__ import annotations

import secrets

from dash import html

from app.links import HOME
from app.views import parts


def progress_view(stage: str, done_frac: float) -> html.Div:
    """Stage in plain words and a bar. A new `data-ask-again` makes `assets/35-waiting.js` ask anew."""
    bar = html.Progress(value=str(round(100 * done_frac)), max="100", **{"aria-label": "progress"})
    return _waiting("Under way", "Comparing the recordings", f"{stage} …", bar)


def in_line_view(stage: str) -> html.Div:
    """The same before the work has begun: what it waits for, and no bar."""
    return _waiting("Not begun yet", "Waiting for a turn", f"{stage}.", None)


def _waiting(state: str, heading: str, stage: str, bar: html.Progress | None) -> html.Div:
    return html.Div(
        [
            html.P(state, className="overline"),
            html.H1(heading),
            html.P(f"{stage[:1].upper()}{stage[1:]}", role="status", className="stage"),
            bar,
            html.P(
                "The page turns into the result by itself. You may close it and come back to this address.",
                className="small",
            ),
        ],
        className="waiting",
        **{"data-ask-again": secrets.token_hex(4)},
    )


def changing_view(stage: str, done_frac: float) -> html.Div:
    """The strip over a page whose trial is analysed again: what stands there is still the result before the change."""
    percent = round(100 * done_frac)
    words = [html.Strong("Analysing again. "), f"{stage[:1].upper()}{stage[1:]} … the page shows the result before the change."]
    return html.Div(
        [html.P(words, role="status"), html.Progress(value=str(percent), max="100", **{"aria-label": "progress"})],
        className="changing",
        **{"data-ask-again": secrets.token_hex(4)},
    )


def failed_view(sentence: str) -> html.Div:
    """No result: each sentence on its own line, and what to do next."""
    lines = [html.P(line) for line in sentence.splitlines() if line.strip()]
    return html.Div(
        [
            html.P("No result", className="overline"),
            html.H1("This comparison could not be made"),
            html.Div(lines, className="notice problem", role="alert"),
            html.P(html.A("Start again with other files", href=HOME)),
        ],
        className="waiting",
    )


def problem(text: str) -> html.Div:
    """A refusal or mistake, beside the button that caused it."""
    return parts.notice(text, kind="problem")
