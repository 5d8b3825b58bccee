"""While a comparison runs: how far it is; once it is there: the report, and what of it was left for later."""

from dash import Input, Output, State, callback
from dash.exceptions import PreventUpdate

from app import ids, showing
from app.screen import from_store


@callback(
    Output(ids.CONTENT, "children"),
    Output(ids.CHANGING, "children"),
    Input(ids.POLL, "data"),
    State(ids.TRIAL, "data"),
    State(ids.WINDOW, "data"),
    State(ids.VIEW, "data"),
    State(ids.SCREEN, "data"),
    State(ids.CHANGING, "children"),
    State(ids.THEME, "data"),
    prevent_initial_call=True,
)
def look_again(_tick, trial_id, window, view, choices, changing, theme):
    """Progress or result; a progress view asks again by itself, once it has arrived."""
    if not trial_id:
        raise PreventUpdate
    return showing.look_again(trial_id, from_store(choices, window=window, view=view), changing, theme)


@callback(
    Output(ids.REST, "children"),
    Input(ids.REST_WANTED, "data"),
    State(ids.TRIAL, "data"),
    State(ids.SCREEN, "data"),
    prevent_initial_call=True,
)
def follow_with_the_rest(_wanted, trial_id, choices):
    """What stands below the overlay, once that is drawn."""
    below = showing.rest(trial_id, from_store(choices)) if trial_id else None
    if below is None:
        raise PreventUpdate
    return below
