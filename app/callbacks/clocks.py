"""The clocks: pictures once they are seen. Shifts that the owner keeps: by_hand.py."""

from dash import MATCH, Input, Output, State, callback
from dash.exceptions import PreventUpdate

from app import clocks, ids
from app.views.clocks import chart


@callback(
    Output({"type": ids.CLOCK_PICTURE, "index": MATCH}, "children"),
    Input({"type": ids.CLOCK_SEEN, "index": MATCH}, "data"),
    Input(ids.THEME, "data"),
    State({"type": ids.CLOCK_SEEN, "index": MATCH}, "id"),
    State(ids.TRIAL, "data"),
    prevent_initial_call=True,
)
def draw_clock_picture(seen, theme, name, trial_id):
    """A picture of the alignment, once it has come into view, in the reader's theme."""
    figure = clocks.picture(trial_id, name, theme) if seen and theme else None
    if figure is None:
        raise PreventUpdate
    return chart(figure)
