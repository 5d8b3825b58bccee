"""What the served page says of a trial before any script has run: to a chat that shows a link, and to a reader without script.

Nothing of an address goes in, and of a trial whose deltas are hidden no delta.
"""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

from dash import html

from app import links, showing
from app.tables import SUMMARY_COLUMNS, summary_rows
from app.views.frozen import html_text

SITE = "countercheck"
HIDDEN = "Its blocks are being settled; how the devices compare is shown once they are frozen."
MISSING_SCRIPT = "<p>Charts, tables and evidence are drawn with JavaScript; please switch it on to see them.</p>"
MOST = 300  # characters; chats cut a description shorter than this


def of_page(path: str) -> tuple[str, str]:
    """Meta tags for the head, and the summary for readers without script; nothing and a sentence where there is no result."""
    address = links.parse(path)
    found = showing.seen_trial(address.trial_id) if address else None
    if found is None:
        return "", MISSING_SCRIPT
    report = found.report
    title = showing.title_of(address.trial_id)
    headline = report.get("headline")
    told = headline or HIDDEN
    table = html_text(_table(report)) if headline else ""
    return _metas(title, told), f"<h1>{escape(told)}</h1>{table}{MISSING_SCRIPT}"


def _table(report: Mapping[str, Any]) -> html.Table:
    """Every device against the reference by kind of block, as the command line prints it."""
    head = html.Tr([html.Th([c.heading, f", {c.unit}" if c.unit else ""], scope="col") for c in SUMMARY_COLUMNS])
    rows = [html.Tr([html.Td(cell.replace("-", "−") if c.right else cell) for c, cell in zip(SUMMARY_COLUMNS, row, strict=True)])
            for row in summary_rows(report)]  # fmt: skip
    about = html.Caption(f"Device minus reference ({report['reference']}), in W and in % of the reference's mean")
    return html.Table([about, html.Thead(head), html.Tbody(rows)])


def _metas(title: str, told: str) -> str:
    short = told if len(told) <= MOST else told[: MOST - 1].rstrip() + "…"
    named = {"description": short}
    shared = {"og:type": "article", "og:site_name": SITE, "og:title": title, "og:description": short}
    tags = [f'<meta name="{name}" content="{escape(text)}">' for name, text in named.items()]
    tags += [f'<meta property="{name}" content="{escape(text)}">' for name, text in shared.items()]
    return "\n    ".join(tags)
