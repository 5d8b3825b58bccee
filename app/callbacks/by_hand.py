"""What the owner does to a trial by hand: blocks moved, blocks frozen, clocks set. Each asks for the owner's key first."""

from collections.abc import Callable
from typing import Any

from dash import Input, Output, State, callback, no_update

from analysis.errors import CountercheckError
from app import access, clocks, editing, freezing, ids, showing
from app.screen import from_store
from app.services import get_services
from app.views.notices import problem


def _register(form_id: str, problem_id: str, change: Callable[[str, Any], None]) -> None:
    @callback(
        Output(ids.CONTENT, "children", allow_duplicate=True),
        Output(problem_id, "children"),
        Input(form_id, "data"),
        State(ids.TRIAL, "data"),
        State(ids.WINDOW, "data"),
        State(ids.THEME, "data"),
        State(ids.VIEW, "data"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def make_change(form, trial_id, window, theme, view, choices):
        """One change in; the page with the new figures out, in place."""
        try:
            access.require_owner(trial_id)
            change(trial_id, form)
        except CountercheckError as trouble:
            return no_update, problem(str(trouble))
        return showing.content_soon(trial_id, from_store(choices, window=window, view=view), theme), None


_register(ids.BLOCKS_FORM, ids.BLOCKS_PROBLEM, lambda trial_id, form: editing.change(get_services(), trial_id, form))
_register(
    ids.FREEZE_FORM, ids.FREEZE_PROBLEM,
    lambda trial_id, form: freezing.freeze(get_services(), trial_id, editing.version_of(form)),
)  # fmt: skip
_register(ids.HANDS_FORM, ids.HANDS_PROBLEM, clocks.keep)
