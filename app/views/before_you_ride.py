"""On the first page: what happens to a file that is dropped, and the usual cautions before anybody rides for a trial."""

from __future__ import annotations

from dash import html

from analysis.cautions import CAUTIONS

ANCHOR = "before-you-ride"


def privacy_words() -> html.P:
    """What is dropped and what is kept of a file, and the way to the cautions."""
    return html.P(
        [
            "Positions, names, the rider's profile and full serial numbers are dropped while a file is read; what is kept is the "
            "recording without them. Before you ride hard for a trial: ",
            html.A("a few cautions", href=f"#{ANCHOR}"),
            ".",
        ],
        className="small privacy",
    )


def cautions_here() -> html.Section:
    """Every caution the analysis gives, maximal efforts first: here the ride is still ahead."""
    ordered = sorted(CAUTIONS, key=lambda caution: caution.topic != "Maximal efforts")
    items = [html.Li([html.Strong(f"{caution.topic}. "), caution.text]) for caution in ordered]
    head = html.H2("Before you ride", id=f"{ANCHOR}-title")
    return html.Section(
        [head, html.Ul(items, className="cautions")], id=ANCHOR, className="before-ride", **{"aria-labelledby": f"{ANCHOR}-title"}
    )
