"""What the owner may change; each of these asks for the key first."""

from dash import Input, Output, State, callback, no_update

from analysis.errors import CountercheckError
from app import access, ids, links, showing
from app.forms import entries_of
from app.services import base_url, get_services
from app.views.notices import problem, progress_view
from app.views.parts import owner_link


@callback(
    Output(ids.CONTENT, "children", allow_duplicate=True),
    Output(ids.EDIT_PROBLEM, "children"),
    Input(ids.EDIT_FORM, "data"),
    State(ids.TRIAL, "data"),
    prevent_initial_call=True,
)
def change_setup(form, trial_id):
    """The owner's sheet in; the page starts over with progress, in place."""
    try:
        access.require_owner(trial_id)
        showing.change_setup(trial_id, entries_of(form))
    except CountercheckError as trouble:
        return no_update, problem(str(trouble))
    return progress_view("taking the new set-up", 0.0), None


@callback(
    Output(ids.OWNER_LINK_TEXT, "children"),
    Input(ids.OWNER_LINK, "n_clicks"),
    State(ids.TRIAL, "data"),
    prevent_initial_call=True,
)
def make_owner_link(clicks, trial_id):
    """A further owner link, shown once."""
    if not clicks:
        return no_update
    try:
        access.require_owner(trial_id)
        path = links.owner_path(trial_id, get_services().store.new_owner_key(trial_id))
        return owner_link(links.absolute(base_url(), path))
    except CountercheckError as trouble:
        return problem(str(trouble))
