"""The clocks: pictures once they are seen, and the shifts that the owner keeps."""

from dash import MATCH, Input, Output, State, callback, no_update
from dash.exceptions import PreventUpdate

from analysis.errors import CountercheckError
from app import access, clocks, ids
from app.views.clocks import chart
from app.views.notices import problem, progress_view


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


@callback(
    Output(ids.CONTENT, "children", allow_duplicate=True),
    Output(ids.HANDS_PROBLEM, "children"),
    Output(ids.NUDGE, "data"),
    Input(ids.HANDS_FORM, "data"),
    State(ids.TRIAL, "data"),
    prevent_initial_call=True,
)
def keep_shifts(form, trial_id):
    """The owner's shifts in; the page starts over with progress, in place."""
    try:
        access.require_owner(trial_id)
        clocks.keep(trial_id, form)
    except CountercheckError as trouble:
        return no_update, problem(str(trouble)), no_update
    return progress_view("taking the new shift", 0.0), None, None
