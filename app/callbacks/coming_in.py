"""Uploaded files -> the sheet -> a trial."""

from dash import ALL, ClientsideFunction, Input, Output, State, callback, clientside_callback, ctx, no_update

from analysis.errors import CountercheckError
from app import access, ids, links, starting
from app.forms import rows_of
from app.services import get_services
from app.views.notices import problem

SHEET_FIELDS = (
    State(ids.field(ids.NEW, ALL, ALL), "id"),
    State(ids.field(ids.NEW, ALL, ALL), "value"),
)


@callback(
    Output(ids.SHEET, "children"),
    Input(ids.UPLOADS, "data"),
    Input(ids.SETUP_TEXT, "data"),
    *SHEET_FIELDS,
    prevent_initial_call=True,
)
def show_sheet(uploads, setup_text, field_ids, values):
    """One row per good file; what was typed already stays."""
    return starting.sheet(uploads or [], rows_of(field_ids, values), setup_text)


@callback(
    Output(ids.REFERENCE, "options"),
    Input(ids.field(ids.NEW, ids.LABEL, ALL), "value"),
    State(ids.field(ids.NEW, ids.LABEL, ALL), "id"),
    prevent_initial_call=True,
)
def name_choices(labels, field_ids):
    """The reference is chosen by label, as the labels stand now."""
    pairs = zip(labels, field_ids, strict=True)
    return [{"label": label or "(no label yet)", "value": field_id["key"]} for label, field_id in pairs]


@callback(
    Output(ids.GO, "href"),
    Output(ids.SHEET_PROBLEM, "children"),
    Input(ids.ANALYSE, "n_clicks"),
    State(ids.UPLOADS, "data"),
    State(ids.SETUP_TEXT, "data"),
    *SHEET_FIELDS,
    State(ids.REFERENCE, "value"),
    State(ids.TITLE, "value"),
    State(ids.LOSS_LOW, "value"),
    State(ids.LOSS_HIGH, "value"),
    prevent_initial_call=True,
)
def analyse(clicks, uploads, setup_text, field_ids, values, reference, title, low, high):
    """The sheet in, the new trial's address out; the owner key goes into a cookie."""
    if not clicks:
        return no_update, no_update
    try:
        rows = rows_of(field_ids, values)
        new = starting.start(get_services(), uploads or [], rows, setup_text, reference, title, (low, high))
    except CountercheckError as trouble:
        return no_update, problem(str(trouble))
    access.grant(ctx.response, new.trial_id, new.owner_key)
    return links.trial_path(new.trial_id), None


clientside_callback(
    ClientsideFunction("countercheck", "remember"),
    Output(ids.REMEMBERED, "data"),
    Input(ids.ANALYSE, "n_clicks"),
    State(ids.UPLOADS, "data"),
    *SHEET_FIELDS,
    prevent_initial_call=True,
)
