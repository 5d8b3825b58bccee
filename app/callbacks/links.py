"""The owner's links, and the end of a trial; asks for the owner's key first."""

from dash import Input, Output, State, callback, ctx, no_update

from analysis.errors import CountercheckError
from app import access, ids, keeping
from app.views.links import deleted_view, links_body
from app.views.notices import problem


@callback(
    Output(ids.LINKS_BODY, "children"),
    Output(ids.LEAD, "href"),
    Output(ids.CONTENT, "children", allow_duplicate=True),
    Input(ids.LINKS_FORM, "data"),
    State(ids.TRIAL, "data"),
    prevent_initial_call=True,
)
def keep_links(form, trial_id):
    """One act in; the links as they are then, or the way on."""
    try:
        access.require_owner(trial_id)
    except CountercheckError as trouble:
        return problem(str(trouble)), no_update, no_update
    cookies = access.cookies_of(trial_id)
    told = keeping.act(trial_id, form)
    if told.deleted:
        access.forget(ctx.response, cookies)
        return no_update, no_update, deleted_view()
    if told.lead_to:
        return no_update, told.lead_to, no_update
    return links_body(keeping.shelf(access.stored_trial(trial_id)), told), no_update, no_update
