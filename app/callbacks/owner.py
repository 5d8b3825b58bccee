"""What the owner may change; each of these asks for the key first."""

from dash import Input, Output, State, callback, no_update

from analysis.errors import CountercheckError
from app import access, editing, ids, showing
from app.forms import entries_of
from app.screen import from_store
from app.views.notices import problem


@callback(
    Output(ids.CONTENT, "children", allow_duplicate=True),
    Output(ids.EDIT_PROBLEM, "children"),
    Output(ids.WINDOW, "data", allow_duplicate=True),
    Output(ids.VIEW, "data", allow_duplicate=True),
    Input(ids.EDIT_FORM, "data"),
    State(ids.TRIAL, "data"),
    State(ids.WINDOW, "data"),
    State(ids.VIEW, "data"),
    State(ids.SCREEN, "data"),
    State(ids.THEME, "data"),
    prevent_initial_call=True,
)
def change_setup(form, trial_id, window, view, choices, theme):
    """The owner's sheet in; the page with the new result out, in place, at the same stretch of the ride."""
    try:
        access.require_owner(trial_id)
        by_s = showing.change_setup(trial_id, entries_of(form), seen=editing.version_of(form))
    except CountercheckError as trouble:
        return no_update, problem(str(trouble)), no_update, no_update
    screen = showing.later(from_store(choices, window=window, view=view), by_s)
    moved = (screen.window, screen.view) if by_s else (no_update, no_update)
    return showing.content_soon(trial_id, screen, theme), None, *moved
