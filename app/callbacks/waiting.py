"""While a comparison runs: how far it is; once it is there: the report."""

from dash import Input, Output, State, callback
from dash.exceptions import PreventUpdate

from app import ids, showing


@callback(
    Output(ids.CONTENT, "children"),
    Output(ids.POLL, "disabled"),
    Input(ids.POLL, "n_intervals"),
    State(ids.TRIAL, "data"),
    State(ids.WINDOW, "data"),
    prevent_initial_call=True,
)
def look_again(_ticks: int, trial_id: str | None, window: list[float] | None):
    """Progress or result; the last answer switches the clock off."""
    if not trial_id:
        raise PreventUpdate
    return showing.content(trial_id, showing.window_of(window))
