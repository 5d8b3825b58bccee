"""Sections and pictures of evidence, each once its box has come into view."""

from dash import MATCH, Input, Output, State, callback
from dash.exceptions import PreventUpdate

from app import evidence, ids
from app.views.pictures import drawn


@callback(
    Output({"type": ids.EVIDENCE, "index": MATCH}, "children"),
    Input({"type": ids.EVIDENCE_SEEN, "index": MATCH}, "data"),
    Input(ids.THEME, "data"),
    State({"type": ids.EVIDENCE_SEEN, "index": MATCH}, "id"),
    State(ids.TRIAL, "data"),
    prevent_initial_call=True,
)
def draw_evidence(seen, theme, name, trial_id):
    """A picture of evidence in the reader's theme, once it is seen."""
    figure = evidence.picture(trial_id, name, theme) if seen and theme else None
    if figure is None:
        raise PreventUpdate
    return drawn(figure)


@callback(
    Output({"type": ids.SECTION, "index": MATCH}, "children"),
    Input({"type": ids.SECTION_SEEN, "index": MATCH}, "data"),
    State({"type": ids.SECTION_SEEN, "index": MATCH}, "id"),
    State(ids.TRIAL, "data"),
    prevent_initial_call=True,
)
def fill_section(wish, name, trial_id):
    """A section's content, once it is seen, and again where its tables are to show another pair."""
    content = evidence.section(trial_id, name, wish) if wish else None
    if content is None:
        raise PreventUpdate
    return content
