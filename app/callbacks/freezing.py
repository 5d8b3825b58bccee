"""Freezing the blocks, after which the deltas are shown; asks for the owner's key first."""

from dash import Input, Output, State, callback, no_update

from analysis.errors import CountercheckError
from app import access, editing, freezing, ids, showing
from app.screen import from_store
from app.services import get_services
from app.views.notices import problem


@callback(
    Output(ids.CONTENT, "children", allow_duplicate=True),
    Output(ids.FREEZE_PROBLEM, "children"),
    Input(ids.FREEZE_FORM, "data"),
    State(ids.TRIAL, "data"),
    State(ids.WINDOW, "data"),
    State(ids.THEME, "data"),
    State(ids.VIEW, "data"),
    State(ids.SCREEN, "data"),
    prevent_initial_call=True,
)
def freeze_blocks(form, trial_id, window, theme, view, choices):
    """The owner's press in; the whole report out."""
    try:
        access.require_owner(trial_id)
        freezing.freeze(get_services(), trial_id, editing.version_of(form))
    except CountercheckError as trouble:
        return no_update, problem(str(trouble))
    return showing.content_soon(trial_id, from_store(choices, window=window, view=view), theme), None
