"""What the owner may change; each of these asks for the key first."""

from dash import ALL, Input, Output, State, callback, no_update

from analysis.errors import CountercheckError
from app import access, ids, links, showing
from app.forms import rows_of
from app.services import get_services
from app.views.notices import problem, progress_view
from app.views.parts import owner_link


@callback(
    Output(ids.CONTENT, "children", allow_duplicate=True),
    Output(ids.POLL, "disabled", allow_duplicate=True),
    Output(ids.EDIT_PROBLEM, "children"),
    Input(ids.EDIT_SAVE, "n_clicks"),
    State(ids.TRIAL, "data"),
    State(ids.field(ids.EDIT, ALL, ALL), "id"),
    State(ids.field(ids.EDIT, ALL, ALL), "value"),
    State(ids.EDIT_REFERENCE, "value"),
    State(ids.EDIT_TITLE, "value"),
    State(ids.EDIT_LOSS_LOW, "value"),
    State(ids.EDIT_LOSS_HIGH, "value"),
    prevent_initial_call=True,
)
def change_setup(clicks, trial_id, field_ids, values, reference, title, loss_low, loss_high):
    """The owner's sheet in; the page starts over with progress, in place."""
    if not clicks:
        return no_update, no_update, no_update
    try:
        access.require_owner(trial_id)
        loss = (loss_low, loss_high)
        showing.change_setup(trial_id, rows_of(field_ids, values), reference=reference, title=title, loss=loss)
    except CountercheckError as trouble:
        return no_update, no_update, problem(str(trouble))
    return progress_view("taking the new set-up", 0.0), False, None


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
        return owner_link(links.owner_path(trial_id, get_services().store.new_owner_key(trial_id)))
    except CountercheckError as trouble:
        return problem(str(trouble))
