"""The owner's links, and the end of a trial or dossier; each asks for the owner's key first."""

from dash import Input, Output, State, callback, ctx, no_update

from analysis.errors import CountercheckError
from app import access, ids, keeping
from app.access import DOSSIER, TRIAL
from app.views.links import deleted_view, links_body
from app.views.notices import problem


@callback(
    Output(ids.LINKS_BODY["trial"], "children"),
    Output(ids.LEAD, "href"),
    Output(ids.CONTENT, "children", allow_duplicate=True),
    Input(ids.LINKS_FORM, "data"),
    State(ids.TRIAL, "data"),
    prevent_initial_call=True,
)
def keep_links(form, trial_id):
    """One act in; the links as they are then, or the way on."""
    return _kept(TRIAL, trial_id, form)


@callback(
    Output(ids.LINKS_BODY["dossier"], "children"),
    Output(ids.DOSSIER_LEAD, "href", allow_duplicate=True),
    Output(ids.DOSSIER_CONTENT, "children", allow_duplicate=True),
    Input(ids.DOSSIER_LINKS_FORM, "data"),
    State(ids.DOSSIER, "data"),
    prevent_initial_call=True,
)
def keep_dossier_links(form, address):
    """The same of a dossier."""
    return _kept(DOSSIER, address, form)


def _kept(kind, address, form):
    try:
        access.require_owner(address, kind)
    except CountercheckError as trouble:
        return problem(str(trouble)), no_update, no_update
    cookies = access.cookies_of(address, kind)
    told = keeping.act(address, form, kind)
    if told.deleted:
        access.forget(ctx.response, cookies)
        return no_update, no_update, deleted_view(kind.noun)
    if told.lead_to:
        return no_update, told.lead_to, no_update
    return links_body(keeping.shelf(access.seen(address, kind)), told), no_update, no_update
