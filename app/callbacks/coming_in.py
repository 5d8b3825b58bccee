"""Uploaded files -> the sheet -> a trial."""

from dash import Input, Output, State, callback, ctx, no_update

from analysis.errors import CountercheckError
from app import access, ids, links, starting
from app.forms import entries_of
from app.services import base_url, get_services
from app.views.new_trial import both_links
from app.views.notices import problem


@callback(
    Output(ids.SHEET, "children"),
    Input(ids.UPLOADS, "data"),
    Input(ids.SETUP_TEXT, "data"),
    prevent_initial_call=True,
)
def show_sheet(uploads, setup_text):
    """One row per good file; what was typed already stays."""
    files, typed, number = starting.uploads_of(uploads), starting.typed_in(uploads), starting.setup_number(uploads)
    return starting.sheet(files, typed, setup_text, setup_number=number)


@callback(
    Output(ids.GO, "href"),
    Output(ids.SHEET_PROBLEM, "children"),
    Output(ids.SHEET, "children", allow_duplicate=True),
    Input(ids.NEW_FORM, "data"),
    State(ids.UPLOADS, "data"),
    State(ids.SETUP_TEXT, "data"),
    prevent_initial_call=True,
)
def analyse(form, uploads, setup_text):
    """The sheet in, the new trial's address out (on a public server both its links); the owner key goes into a cookie."""
    try:
        files = starting.uploads_of(uploads)
        new = starting.start(get_services(), files, entries_of(form), setup_text)
    except CountercheckError as trouble:
        return no_update, problem(str(trouble)), no_update
    access.grant(ctx.response, new.trial_id, new.owner_key)
    if get_services().settings.public:  # nothing lists the trial, so its owner must keep the way back
        return no_update, both_links(base_url(), new.trial_id, new.owner_key), None
    return links.trial_path(new.trial_id), None, no_update
