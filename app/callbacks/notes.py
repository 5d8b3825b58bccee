"""Notes pinned, changed and removed by the owner; asks for the key first."""

from dash import Input, Output, State, callback, no_update

from analysis.errors import CountercheckError
from app import access, ids, noting
from app.services import get_services
from app.views.notes import list_html, marks_html
from app.views.notices import problem


@callback(
    Output(ids.NOTES, "data-html"),
    Output(ids.NOTE_LAYER, "data-html"),
    Output(ids.NOTES_PROBLEM, "children"),
    Input(ids.NOTES_FORM, "data"),
    State(ids.TRIAL, "data"),
    prevent_initial_call=True,
)
def change_notes(form, trial_id):
    """What the owner wants in; list and marks out. A refusal leaves both as they are, and the text in the form."""
    try:
        access.require_owner(trial_id)
        noting.change(get_services().store, trial_id, form)
        notes = get_services().store.notes.of(trial_id)
    except CountercheckError as trouble:
        return no_update, no_update, problem(str(trouble))
    return list_html(notes, owned=True), marks_html(notes), None
