"""A section of evidence in two steps: its head stands at once, its content comes when it is scrolled to, linked or printed.

`assets/60-evidence.js` watches for `data-seen`; `app/callbacks/evidence.py` answers with the content. A page without a
server takes `Chapter.section`, which has both.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dash import dcc, html

from analysis.trial import Trial
from app import ids
from app.views import parts


@dataclass(frozen=True, kw_only=True)
class Material:
    """What a chapter is written from; `trial` holds the samples, for those that need them."""

    report: Mapping[str, Any]
    labels: Sequence[str]
    trial: Trial | None = None


@dataclass(frozen=True, kw_only=True)
class Chapter:
    """One section: `name` is its anchor, `meaning` says in two sentences what it means.

    follows_pair : its tables show another pair where a reader has asked for one.
    """

    name: str
    title: str
    meaning: str
    body: Callable[[Material], Sequence[Any]]
    follows_pair: bool = False

    def section(self, number: int, report: Mapping[str, Any], labels: Sequence[str], trial: Trial | None = None) -> html.Section:
        """The whole section."""
        body = self.body(Material(report=report, labels=labels, trial=trial))
        return parts.section(number, self.name, self.title, self.meaning, *body)

    def awaited(self, number: int) -> html.Section:
        """Its head, and an empty box for the rest."""
        return parts.section(number, self.name, self.title, self.meaning, *awaited_box(self.name, follows_pair=self.follows_pair))


def awaited_box(name: str, *, follows_pair: bool, content: Any = None) -> list[Any]:
    """The box for a section's content, filled already where there is some; and what tells the server that it is seen."""
    watched = {"data-seen": ids.SECTION_SEEN, "data-index": name} | ({"data-pair": ""} if follows_pair else {})
    inside = html.Div(content, id={"type": ids.SECTION, "index": name}, className="section-content")
    return [html.Div(inside, className="section-box", **watched), dcc.Store(id={"type": ids.SECTION_SEEN, "index": name})]
