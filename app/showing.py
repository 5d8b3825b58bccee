"""From a stored trial to what stands on its page: for the first load, the progress poll, the owner's change."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import asdict, replace
from functools import partial
from typing import Any

from dash import html, no_update, set_props

from analysis.archive import OpenTrial
from analysis.errors import CountercheckError
from analysis.figures import Theme, against, clamp_view, overlay
from analysis.judging import judge_interval
from analysis.pairs import only, tables_against
from analysis.report import blocks_of
from analysis.trial import Trial
from analysis.within import within
from app import editing, freezing, ids, keeping
from app.access import is_owner, stored_trial
from app.forms import SheetEntries, setup_of
from app.history import ByHand, by_hand, carried
from app.jobs import Ready, Working
from app.nudges import moved
from app.planning.handing import plan_named
from app.screen import OPENING, Screen
from app.services import get_services
from app.store import StoredTrial
from app.views.block_marks import block_lines
from app.views.blocks_first import blocks_first_view
from app.views.chapters import Material, awaited_box
from app.views.editing import way_back
from app.views.evidence import awaited_sections, content_of
from app.views.frozen import html_text
from app.views.interval import interval_card, power_card
from app.views.links import links_panel
from app.views.notices import changing_view, failed_view, in_line_view, progress_view
from app.views.overlay import look_of
from app.views.owner import owner_panel
from app.views.record import downloads_section
from app.views.trial import rest_of_page, trial_view

Window = tuple[float, float] | None  # None is the whole trial

MIN_WINDOW_S = 1.0  # one sample of a recording at the usual 1 Hz
# After a change by hand the page waits this long for the new result before it tells of progress.
PATIENCE_S, LOOK_EVERY_S = 3.0, 0.02


def first_view(trial_id: str, screen: Screen = OPENING) -> Any:
    """What a reader sees first; of a result that is there the headline and the overlay, what follows is asked for later."""
    return _content(trial_id, screen, with_rest=_later)


def content(trial_id: str, screen: Screen = OPENING, figure: Any = None) -> Any:
    """The page's content: progress while there is no answer, then the report or the reason why there is none.

    `figure` is the overlay where it is at hand already; else its callback draws it.
    """
    return _content(trial_id, screen, figure, with_rest=_rest)


def rest(trial_id: str, screen: Screen = OPENING) -> Any:
    """What follows the overlay; None while there is no result or nothing of it may be shown."""
    stored, found = _shown(trial_id)
    if found is None or stored.deltas_hidden:
        return None
    return _rest(found, hand_of(stored), trial_id, screen)


def _rest(found: OpenTrial, hand: ByHand, trial_id: str, screen: Screen) -> list[Any]:
    """The block table as the screen asks for it; the evidence as heads, whose content comes once it is seen."""
    report, trial = found.report, found.trial
    blocks = content_of("blocks", Material(report=pair_report(found, screen), labels=trial.labels), trial.reference)
    return rest_of_page(
        report, trial, hand, last=partial(downloads_section, trial_id=trial_id), evidence=awaited_sections,
        table=awaited_box("blocks", follows_pair=True, content=blocks),
    )  # fmt: skip


def _later(*_: Any) -> html.P:
    """Stands for what follows the overlay until `assets/33-rest.js` has asked for it."""
    return html.P("The tables, the findings and their evidence follow.", className="small", **{"data-later": "yes"})


def _content(trial_id: str, screen: Screen, figure: Any = None, *, with_rest: Callable[..., Any]) -> Any:
    services = get_services()
    stored = stored_trial(trial_id)
    answer = services.jobs.ask(trial_id if stored else "")
    if isinstance(answer, Working):
        return progress_view(answer.stage, answer.done_frac) if answer.begun else in_line_view(answer.stage)
    if stored is not None:
        services.store.openings.note(stored.inner_id)
    owned = stored is not None and is_owner(trial_id)
    hand = hand_of(stored)
    if not isinstance(answer, Ready):
        owner = [*_owner_parts(stored, None), way_back(hand)] if owned else None
        return html.Div([failed_view(answer.sentence), html.Div(owner)])
    found = freezing.shown(stored, answer.open_trial)
    report, trial = found.report, found.trial
    screen = replace(screen.fitted(trial.labels), window=inside(screen.window, trial), view=_in_view(screen.view, trial))
    owner = html.Div(_owner_parts(stored, report)) if owned else None
    inner_card = _card(stored, found, screen)
    common = {"screen": screen, "card": inner_card, "hand": hand, "owner_part": owner, "figure": figure}
    common["notes"] = services.store.notes.of(trial_id)
    if stored.deltas_hidden:
        return blocks_first_view(report, trial, **common)
    return trial_view(report, trial, rest=with_rest(found, hand, trial_id, screen), **common)


def _owner_parts(stored: StoredTrial, report: Any) -> list[Any]:
    sheet = owner_panel(stored.recordings, stored.setup, report, version=stored.setup_version)
    return [sheet, links_panel(keeping.shelf(stored))]


def content_soon(trial_id: str, screen: Screen, theme: Any) -> Any:
    """The page's content after a change, so that it stays in place: the new result where it comes quickly.

    Where it does not, the page keeps what it shows and a strip tells how far the new result is; `look_again` follows it.
    """
    until = time.monotonic() + PATIENCE_S
    while isinstance(answer := get_services().jobs.ask(trial_id), Working) and time.monotonic() < until:
        time.sleep(LOOK_EVERY_S)
    if isinstance(answer, Working):
        set_props(ids.CHANGING, {"children": changing_view(answer.stage, answer.done_frac)})
        return no_update
    return content(trial_id, screen, chart(trial_id, theme, screen))


def look_again(trial_id: str, screen: Screen, changing: Any, theme: Any) -> tuple[Any, Any]:
    """Content and the strip that tells of a change under way; while it is, the page before it stays."""
    if not changing:
        return content(trial_id, screen), None
    answer = get_services().jobs.ask(trial_id if stored_trial(trial_id) else "")
    if isinstance(answer, Working):
        return no_update, changing_view(answer.stage, answer.done_frac)
    return content(trial_id, screen, chart(trial_id, theme, screen)), None


def title_of(trial_id: str | None = None) -> str:
    """What the browser's tab says; the result's own title once it is there."""
    if trial_id is None:
        return "countercheck"
    found = _shown(trial_id)[1]
    name = found.report.get("title") if found else None
    return f"{name or 'A trial'} · countercheck"


def card(trial_id: str, screen: Screen) -> str | None:
    """The interval card, as HTML, of a trial whose result is there; None while it is not."""
    stored, found = _shown(trial_id)
    if found is None:
        return None
    return html_text(_card(stored, found, replace(screen.fitted(found.trial.labels), window=inside(screen.window, found.trial))))


def _card(stored: StoredTrial, found: Any, screen: Screen) -> html.Div:
    """The card for a screen that has been fitted to its trial."""
    trial, window = found.trial, screen.window
    about = block_lines(found.report["blocks"], window)
    if stored.deltas_hidden:
        start_s, end_s = window or (trial.start_s, trial.end_s)
        means = {channel: float(trial.recordings[0].steps(channel).means([start_s], [end_s])[0])
                 for channel in ("power_w", "cadence_rpm")}  # fmt: skip
        return power_card(means, trial, window, about=about)
    try:
        stretch = window or (trial.start_s, trial.end_s)
        more = [within(trial, label, *stretch, against=screen.against) for label in trial.labels]
        # a lag is known against the reference alone
        told = {entry["label"]: entry for entry in found.report["response"]}
        response = {} if screen.against else {label: told.get(label, {}) for label in trial.labels}
        how = {"against": screen.against, "unit": screen.unit, "about": about, "more": more, "response": response}
        return interval_card(judged_window(found, screen), trial, window, **how)
    except CountercheckError as problem:
        return interval_card([], trial, window, against=screen.against, problem=str(problem), about=about)


def judged_window(found: OpenTrial, screen: Screen) -> list[dict[str, Any]]:
    """What each device that the screen shows reads over its interval, as the result's JSON writes it."""
    trial, edges = found.trial, [block["start_s"] for block in found.report["blocks"]]
    stretch = screen.window or (trial.start_s, trial.end_s)
    judged = judge_interval(trial, *stretch, edges_s=edges, against=screen.against)
    return [asdict(one) for one in judged if screen.device in (None, one.label)]


def inside(window: Window, trial: Trial) -> Window:
    """The part of a window that lies in the trial; None (the whole trial) where nothing of it does."""
    if window is None:
        return None
    start_s, end_s = max(window[0], trial.start_s), min(window[1], trial.end_s)
    if end_s - start_s < MIN_WINDOW_S or (start_s, end_s) == (trial.start_s, trial.end_s):
        return None
    return start_s, end_s


def _in_view(view: Window, trial: Trial) -> Window:
    """The stretch that is drawn for a view; None for the whole trial. The page's script waits for just this one."""
    drawn = clamp_view(view, trial)
    return None if drawn == (trial.start_s, trial.end_s) else drawn


def chart(trial_id: str, theme: str, screen: Screen = OPENING, nudge: Any = None) -> Any:
    """The overlay of a trial whose result is there, with clocks moved as `nudge` asks; None while it is not."""
    stored, found = _shown(trial_id)
    if found is None:
        return None
    trial, by_s = moved(found.trial, nudge)
    screen = replace(screen.fitted(trial.labels), window=None)

    def drawn() -> Any:
        figure = overlay(found.report, trial, theme=theme_of(theme), view=screen.view, look=look_of(screen))
        return figure.update_layout(meta={**figure.layout.meta, "moved": by_s})

    if by_s or stored.deltas_hidden:
        return drawn()
    return get_services().drawn.of(found, ("overlay", theme_of(theme), screen), drawn)


def against_chart(trial_id: str, theme: str) -> Any:
    """Held blocks against what might explain them; None while there is no result."""
    found, ink = open_trial(trial_id), theme_of(theme)
    if found is None:
        return None
    draw = partial(against, found.report, found.trial.labels, theme=ink)
    return get_services().drawn.of(found, ("against", ink), draw)


def theme_of(sent: Any) -> Theme:
    """The theme a browser names; light for anything else."""
    return "dark" if sent == "dark" else "light"


def open_trial(trial_id: Any) -> Any:
    """The open result, or None: not there yet, no id of ours (a browser can send what it likes), or its deltas are hidden."""
    stored, found = _shown(trial_id)
    return None if found is None or stored.deltas_hidden else found


def pair_report(found: OpenTrial, screen: Screen) -> Any:
    """The report with the tables of the pair that the screen asks for, each computed once; itself where it asks for none."""
    fitted, report = screen.fitted(found.trial.labels), found.report
    if fitted.against is not None:
        make = partial(tables_against, found.trial, blocks_of(report), fitted.against)
        report = {**report, **get_services().drawn.of(found, ("tables", fitted.against), make)}
    return report if fitted.device is None else only(report, fitted.device)


def seen_trial(trial_id: Any) -> Any:
    """What may be seen of a result that is there: without any delta while they are hidden; else None."""
    return _shown(trial_id)[1]


def _shown(trial_id: Any) -> tuple[Any, Any]:
    """The trial as kept, and of its result what may be seen now; None for what is not there."""
    services = get_services()
    stored = stored_trial(trial_id)
    answer = services.jobs.ask(trial_id) if stored else None
    return stored, freezing.shown(stored, answer.open_trial) if isinstance(answer, Ready) else None


def hand_of(stored: StoredTrial | None) -> ByHand:
    """What was done to the trial's blocks by hand, whether it came from elsewhere, and the frozen plan that it names."""
    if stored is None:
        return by_hand([])
    versions, path = get_services().store.history(stored.trial_id), plan_named(stored.setup)
    hand = by_hand(versions, blocks_first=stored.blocks_first, carried_utc=stored.carried_utc)
    return replace(hand, plan_seen=path is not None, plan_path=path)


def change_setup(trial_id: str, entries: SheetEntries, *, seen: int | None = None) -> float:
    """Put the owner's sheet on top of the present set-up; edits and frozen blocks stay. The caller has checked the key.

    Returns by how much the trial's clock begins later than before, where the sheet names another reference. [s]

    Raises
    ------
    BadSetup
        One sentence that names the field; nothing is kept.
    ChangedMeanwhile
        `seen`, the version of the set-up that the sheet was made for, is not the current one any more.
    """
    services = get_services()
    stored = services.store.trial(trial_id)
    old, answer = stored.setup, services.jobs.ask(trial_id)
    setup = setup_of(stored.recordings, entries, plan=old.to_dict()["plan"])
    by_s = editing.clock_change(setup, answer.open_trial) if isinstance(answer, Ready) else 0.0
    setup = replace(
        setup, edits=carried(old.edits, by_s), frozen_hash=old.frozen_hash, frozen_utc=old.frozen_utc,
        frozen_plan=old.frozen_plan,
    )  # fmt: skip
    services.store.change_setup(trial_id, setup, seen_version=stored.setup_version if seen is None else seen)
    if by_s:
        services.store.notes.shift(trial_id, by_s)
    return by_s


def later(screen: Screen, by_s: float) -> Screen:
    """The same stretches of the ride on a clock that begins `by_s` later."""
    window, view = (each and (each[0] - by_s, each[1] - by_s) for each in (screen.window, screen.view))
    return replace(screen, window=window, view=view)
