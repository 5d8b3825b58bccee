"""The interval and the part of the ride in view: card, chart."""

from dash import Input, Output, State, callback
from dash.exceptions import PreventUpdate

from app import ids, showing
from app.screen import from_store
from app.views.overlay import box_style


@callback(
    Output(ids.CARD, "data-html"),
    Input(ids.WINDOW, "data"),
    Input(ids.SCREEN, "data"),
    State(ids.TRIAL, "data"),
    prevent_initial_call=True,
)
def follow_interval(window, choices, trial_id):
    """The selected interval in, its card out, for the pair and in the unit that the reader has chosen."""
    card = showing.card(trial_id, from_store(choices, window=window)) if trial_id else None
    if card is None:
        raise PreventUpdate
    return card


@callback(
    Output(ids.OVERLAY, "figure"),
    Output(ids.CHART_BOX, "style"),
    Input(ids.VIEW, "data"),
    Input(ids.SCREEN, "data"),
    Input(ids.THEME, "data"),
    Input(ids.NUDGE, "data"),
    State(ids.TRIAL, "data"),
)
def draw_overlay(view, choices, theme, nudge, trial_id):
    """What the reader has chosen to see, in his theme; always all, so that none undoes another."""
    figure = showing.chart(trial_id, theme, from_store(choices, view=view), nudge) if trial_id and theme else None
    if figure is None:
        raise PreventUpdate
    return figure, box_style(figure.layout.height)


@callback(Output(ids.AGAINST, "figure"), Input(ids.THEME, "data"), State(ids.TRIAL, "data"))
def draw_against(theme: str | None, trial_id: str | None):
    """Held blocks against time, power and cadence, in the reader's theme."""
    figure = showing.against_chart(trial_id, theme) if trial_id and theme else None
    if figure is None:
        raise PreventUpdate
    return figure
