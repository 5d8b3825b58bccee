"""The trials whose owner keys this browser holds, listed on the first page for nobody but this browser."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from app.links import trial_path
from app.wording import counted, day_and_time

MOST = 12  # newest first; the others are found by their links


def own_trials_list(trials: Sequence[Any]) -> html.Section | None:
    """Title, files and date of each, as a link; `trials` are `app.store.StoredTrial`. None where there are none."""
    if not trials:
        return None
    items = []
    for trial in trials[:MOST]:
        files = ", ".join(name for _, name in trial.recordings)
        link = html.A(trial.setup.title or files, href=trial_path(trial.trial_id))
        made = html.Time(day_and_time(trial.created_utc), dateTime=trial.created_utc)
        hidden = " · deltas not shown yet" if trial.deltas_hidden else ""
        about = [made, f" · {counted(len(trial.recordings), 'recording')}", hidden]
        items.append(html.Li([link, html.Span(about, className="small")]))
    more = len(trials) - MOST
    rest = html.P(f"And {more} more, by their own links.", className="small") if more > 0 else None
    hint = html.P("Those that this browser may change. Nobody else is shown this list.", className="hint")
    head = html.H2("Your trials", id="own-trials-title")
    return html.Section([head, hint, html.Ul(items), rest], className="own-trials", **{"aria-labelledby": "own-trials-title"})
