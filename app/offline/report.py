"""Puts the file together: the page's views as HTML, its styles and scripts, the charting library, and the data."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Sequence
from html import escape
from typing import Any

from dash import html

from analysis.archive import OpenTrial
from analysis.errors import CountercheckError
from analysis.figures import INKS
from analysis.judging import judge_interval
from analysis.within import within
from app import drawings, ids
from app.history import ByHand
from app.offline.markup import pictures_in, standing
from app.offline.pairs import pair_box, pair_tables, sections_with_boxes
from app.offline.pictures import colour_changes, held_picture
from app.offline.samples import trial_data
from app.places import assets_dir
from app.screen import OPENING
from app.shell import theme_switch
from app.views.block_marks import block_lines
from app.views.frozen import html_text
from app.views.interval import interval_card
from app.views.parts import section
from app.views.tables import block_table
from app.views.trial import rest_of_page, trial_view

# In the order in which they rely on each other; what only an owner or a server needs is left out.
SCRIPTS = (
    "00-theme.js", "05-plotly-basic.min.js", "offline/10-alone.js", "offline/20-means.js", "offline/25-samples.js",
    "offline/30-judging.js", "offline/35-within.js", "offline/40-card.js", "offline/45-address.js", "offline/50-charts.js",
    "offline/60-points.js", "offline/62-rows.js", "offline/64-overlay.js", "offline/70-pair.js", "17-folds.js", "30-scrub.js",
    "30-touch.js", "31-screen.js", "32-preview.js", "32-view.js", "33-readout.js", "34-show.js", "50-blocks.js", "61-tables.js",
    "70-notes.js", "70-take.js", "71-print.js", "offline/80-start.js",
)  # fmt: skip


class IncompleteInstallation(CountercheckError):
    """A file that belongs to the program is not there."""


def offline_report(found: OpenTrial, *, hand: ByHand | None = None, notes: Sequence[Any] = ()) -> str:
    """The whole page of an open result as one HTML file that works from a disk, without any request.

    Raises
    ------
    IncompleteInstallation
        A style or script of the program is missing.
    """
    page = standing(_article(found, hand or ByHand(), notes))
    data = {"pictures": _pictures(found, pictures_in(page)), "colours": colour_changes(), "trial": trial_data(found)}
    data["pairs"] = pair_tables(found)
    return one_file(page, title=found.report["title"] or "Comparison of recordings", data=data, scripts=SCRIPTS)


def one_file(page: Any, *, title: str, data: dict[str, Any], scripts: Sequence[str]) -> str:
    """A standing tree as one HTML file with the site's styles, these scripts and the data they work on.

    Raises IncompleteInstallation.
    """
    held, scripts = _told(data), [_script(name) for name in scripts]
    head = html_text(_head())
    body = html_text(html.Div([html.Main(page, id=ids.MAIN, tabIndex="-1")]))
    styles = "\n".join(_read(file.name) for file in sorted(assets_dir().glob("*.css"))) + _read("offline/10-alone.css")
    return (
        '<!DOCTYPE html>\n<html lang="en" class="alone">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n<meta name="robots" content="noindex">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_policy(scripts)}">\n'
        f"<title>{escape(title)} · countercheck</title>\n<style>\n{styles}\n</style>\n</head>\n<body>\n"
        f'<div class="site">{head}{body}</div>\n'
        f'<script type="application/json" id="report-data">{held}</script>\n'
        + "".join(f"<script>{script}</script>\n" for script in scripts)
        + "</body>\n</html>\n"
    )


def _article(found: OpenTrial, hand: ByHand, notes: Sequence[Any]) -> html.Article:
    report, trial = found.report, found.trial
    judged = [vars(one) for one in judge_interval(trial, trial.start_s, trial.end_s, edges_s=_edges(found))]
    more = [within(trial, label, trial.start_s, trial.end_s) for label in trial.labels]
    response = {entry["label"]: entry for entry in report["response"]}
    card = interval_card(judged, trial, None, about=block_lines(report["blocks"], None), more=more, response=response)
    table = [pair_box("blocks", block_table(report, trial.labels))]
    rest = rest_of_page(report, trial, hand, last=_about, table=table, evidence=sections_with_boxes)
    return trial_view(report, trial, screen=OPENING, card=card, hand=hand, rest=rest, notes=notes)


def _edges(found: OpenTrial) -> list[float]:
    return [block["start_s"] for block in found.report["blocks"]]


def _head() -> html.Div:
    kind = html.Span("a report in one file", className="alone-kind")
    return html.Div(
        [html.Span("countercheck", className="wordmark"), kind, theme_switch()],
        className="site-head",
        role="banner",
    )


def _about(number: int) -> html.Section:
    text = (
        "This file is the whole report: figures, pictures, samples of power, and the program that shows them. It asks nothing of "
        "any server and keeps working without a network. Positions, names and serial numbers were never in it."
    )
    return section(number, "about", "About this file", text)


def _pictures(found: OpenTrial, names: Sequence[str]) -> dict[str, Any]:
    drawn = {name: [drawings.named(found, name, ink) for ink in INKS] for name in names if name != ids.OVERLAY}
    return {name: held_picture(*both) for name, both in drawn.items() if all(figure is not None for figure in both)}


def _told(tree: dict[str, Any]) -> str:
    """JSON that cannot end the element it stands in."""
    text = json.dumps(tree, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def _script(name: str) -> str:
    text = _read(name)
    if "</script" in text.lower() or "<!--" in text:
        raise IncompleteInstallation(f"{name} holds a text that would end it inside a page; install the program again.")
    return f"\n{text}\n"


def _policy(scripts: Sequence[str]) -> str:
    """Nothing from anywhere; only the scripts in this very file."""
    hashes = (base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in scripts)
    allowed = " ".join(f"'sha256-{one}'" for one in hashes)
    rest = "style-src 'unsafe-inline'; img-src data: blob:; base-uri 'none'; form-action 'none'"
    return f"default-src 'none'; script-src {allowed}; {rest}"


def _read(name: str) -> str:
    try:
        return (assets_dir() / name).read_text(encoding="utf-8").replace("\r\n", "\n")
    except OSError:
        raise IncompleteInstallation(f"{name} is missing from the program's files; install it again.") from None
