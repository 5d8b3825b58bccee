"""A pasted list or a recording's own steps -> rows of a sheet's ride plan."""

from dash import Input, Output, callback

from app import ids, starting


@callback(Output(ids.PLAN_READ, "data-html"), Input(ids.PLAN_ASKED, "data"), prevent_initial_call=True)
def read_plan(asked):
    """The rows, or the sentence that says why there are none; `assets/16-plan.js` puts them into the sheet."""
    return starting.plan_answer(asked)
