"""From a stored trial to what stands on its page: for the first load, the progress poll, the owner's change."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from dash import html

from analysis.archive import OpenTrial
from analysis.errors import CountercheckError
from analysis.figures import Theme, against, overlay
from analysis.judging import judge_interval
from analysis.trial import Trial
from app.access import is_owner
from app.forms import SheetEntries, setup_of
from app.jobs import Ready, Working
from app.links import is_id
from app.nudges import moved
from app.services import get_services
from app.views.frozen import html_text
from app.views.interval import interval_card
from app.views.notices import failed_view, progress_view
from app.views.owner import owner_panel
from app.views.trial import trial_view

Window = tuple[float, float] | None

MIN_WINDOW_S = 1.0  # one sample of a recording at the usual 1 Hz


def content(trial_id: str, window: Window) -> Any:
    """The page's content: progress while there is no answer, then the report or the reason why there is none."""
    services = get_services()
    trial_id = trial_id if is_id(trial_id) else ""  # no id of ours: answered like one that leads nowhere
    answer = services.jobs.ask(trial_id)
    if isinstance(answer, Working):
        return progress_view(answer.stage, answer.done_frac)
    stored = services.store.trial(trial_id)
    owned = stored is not None and is_owner(trial_id)
    if not isinstance(answer, Ready):
        owner = owner_panel(stored.recordings, stored.setup, None) if owned else None
        return html.Div([failed_view(answer.sentence), owner])
    report, trial = answer.open_trial.report, answer.open_trial.trial
    window = inside(window, trial)
    owner = owner_panel(stored.recordings, stored.setup, report) if owned else None
    judged = judged_window(answer.open_trial, window)
    return trial_view(report, trial, trial_id=trial_id, window=window, judged=judged, owner_part=owner)


def title_of(trial_id: str | None = None) -> str:
    """What the browser's tab says; the result's own title once it is there."""
    if trial_id is None:
        return "countercheck"
    found = open_trial(trial_id)
    name = found.report.get("title") if found else None
    return f"{name or 'A trial'} · countercheck"


def card(trial_id: str, window: Window) -> str | None:
    """The interval card, as HTML, of a trial whose result is there; None while it is not."""
    found = open_trial(trial_id)
    if found is None:
        return None
    trial = found.trial
    window = inside(window, trial)
    try:
        return html_text(interval_card(judged_window(found, window), trial, window))
    except CountercheckError as problem:
        return html_text(interval_card([], trial, window, problem=str(problem)))


def judged_window(found: OpenTrial, window: Window) -> list[dict[str, Any]]:
    """What each device reads over the interval, as the result's JSON writes it."""
    trial, edges = found.trial, [block["start_s"] for block in found.report["blocks"]]
    return [asdict(judged) for judged in judge_interval(trial, *(window or (trial.start_s, trial.end_s)), edges_s=edges)]


def inside(window: Window, trial: Trial) -> Window:
    """The part of a window that lies in the trial; None (the whole trial) where nothing of it does."""
    if window is None:
        return None
    start_s, end_s = max(window[0], trial.start_s), min(window[1], trial.end_s)
    if end_s - start_s < MIN_WINDOW_S or (start_s, end_s) == (trial.start_s, trial.end_s):
        return None
    return start_s, end_s


def chart(trial_id: str, theme: str, view: Window, nudge: Any = None) -> Any:
    """The overlay of a trial whose result is there, with clocks moved as `nudge` asks; None while it is not."""
    found = open_trial(trial_id)
    if found is None:
        return None
    trial, by_s = moved(found.trial, nudge)
    figure = overlay(found.report, trial, theme=theme_of(theme), view=view)
    return figure.update_layout(meta={**figure.layout.meta, "moved": by_s})


def against_chart(trial_id: str, theme: str) -> Any:
    """Held blocks against what might explain them; None while there is no result."""
    found = open_trial(trial_id)
    return found and against(found.report, found.trial.labels, theme=theme_of(theme))


def theme_of(sent: Any) -> Theme:
    """The theme a browser names; light for anything else."""
    return "dark" if sent == "dark" else "light"


def open_trial(trial_id: Any) -> Any:
    """The open result, or None: it is not there yet, or this is no id of ours (a browser can send what it likes)."""
    answer = get_services().jobs.ask(trial_id) if is_id(trial_id) else None
    return answer.open_trial if isinstance(answer, Ready) else None


def change_setup(trial_id: str, entries: SheetEntries) -> None:
    """Put the owner's sheet on top of the present set-up; the ride plan stays. The caller has checked the key."""
    store = get_services().store
    stored = store.trial(trial_id)
    setup = setup_of(stored.recordings, entries, plan=stored.setup.to_dict()["plan"])
    store.change_setup(trial_id, setup, seen_version=stored.setup_version)


def window_of(data: Any) -> Window:
    """A store's two numbers as a window; None for anything else, because a browser can send what it likes."""
    if not isinstance(data, (list, tuple)) or len(data) != 2:
        return None
    if not all(isinstance(edge, (int, float)) and math.isfinite(edge) for edge in data) or data[0] >= data[1]:
        return None
    return float(data[0]), float(data[1])
