"""A dossier's forms and pictures; every change asks for the owner's key first, in `dossiers.showing` and `dossiers.acting`."""

from dash import MATCH, Input, Output, State, callback, ctx, no_update
from dash.exceptions import PreventUpdate

from analysis.errors import CountercheckError
from app import ids
from app.dossiers import acting, showing
from app.views.notices import problem


@callback(
    Output(ids.DOSSIER_CONTENT, "children"),
    Output(ids.DOSSIER_SAID, "children"),
    Output(ids.DOSSIER_LEAD, "href"),
    Input(ids.DOSSIER_FORM, "data"),
    State(ids.DOSSIER, "data"),
    prevent_initial_call=True,
)
def work_on_dossier(form, address):
    """One form in; the page as it is then, what is to be said of it, or the way on."""
    try:
        told = acting.act(address, form, ctx.response)
    except CountercheckError as trouble:
        return no_update, problem(str(trouble)), no_update
    if told.lead_to:
        return no_update, None, told.lead_to
    return showing.content(address), told.said, no_update


@callback(
    Output({"type": ids.DOSSIER_PICTURE, "index": MATCH}, "children"),
    Input({"type": ids.DOSSIER_PICTURE_NAME, "index": MATCH}, "data"),
    Input(ids.THEME, "data"),
    State(ids.DOSSIER, "data"),
)
def draw_dossier(name, theme, address):
    """A picture of the dossier, in the reader's theme."""
    figure = showing.picture(address, name, theme) if theme else None
    if figure is None:
        raise PreventUpdate
    return figure
