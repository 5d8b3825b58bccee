"""While a comparison runs: how far it is; once it is there: the report."""

from dash import Input, Output, State, callback
from dash.exceptions import PreventUpdate

from app import ids, showing


@callback(
    Output(ids.CONTENT, "children"),
    Input(ids.POLL, "data"),
    State(ids.TRIAL, "data"),
    State(ids.WINDOW, "data"),
    prevent_initial_call=True,
)
def look_again(_tick: int | None, trial_id: str | None, window: list[float] | None):
    """Progress or result; a progress view asks again by itself, once it has arrived."""
    if not trial_id:
        raise PreventUpdate
    return showing.content(trial_id, showing.window_of(window))
