"""Light and dark: what the reader chose before, else what the system says; decided in the browser."""

from dash import ClientsideFunction, Input, Output, clientside_callback

from app import ids

clientside_callback(
    ClientsideFunction("countercheck", "theme"),
    Output(ids.THEME, "data"),
    Input(ids.THEME_SWITCH, "n_clicks"),
)
