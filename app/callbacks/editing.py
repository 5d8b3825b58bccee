"""Changes of the blocks by hand; each asks for the owner's key first."""

from dash import Input, Output, State, callback, no_update

from analysis.errors import CountercheckError
from app import access, editing, ids, showing
from app.screen import from_store
from app.services import get_services
from app.views.notices import problem


@callback(
    Output(ids.CONTENT, "children", allow_duplicate=True),
    Output(ids.BLOCKS_PROBLEM, "children"),
    Input(ids.BLOCKS_FORM, "data"),
    State(ids.TRIAL, "data"),
    State(ids.WINDOW, "data"),
    State(ids.THEME, "data"),
    State(ids.VIEW, "data"),
    State(ids.SCREEN, "data"),
    prevent_initial_call=True,
)
def edit_blocks(form, trial_id, window, theme, view, choices):
    """One change in; the page with the new figures out, in place."""
    try:
        access.require_owner(trial_id)
        editing.change(get_services(), trial_id, form)
    except CountercheckError as trouble:
        return no_update, problem(str(trouble))
    return showing.content_soon(trial_id, from_store(choices, window=window, view=view), theme), None
