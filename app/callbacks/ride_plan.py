"""A pasted list, a recording's own steps, or the editor's draft -> a new trial's ride plan."""

from dash import Input, Output, callback

from app import ids, starting
from app.planning import handing


@callback(Output(ids.PLAN_READ, "data-html"), Input(ids.PLAN_ASKED, "data"), prevent_initial_call=True)
def read_plan(asked):
    """The rows, or the sentence that says why there are none; `assets/16-plan.js` puts them into the sheet."""
    return starting.plan_answer(asked)


@callback(
    Output(ids.SETUP_TEXT, "data"), Output(ids.PLAN_HANDED, "children"), Input(ids.PLAN_DRAFT, "data"), prevent_initial_call=True
)
def hand_draft(sent):
    """The draft that this browser holds, as a set-up's text and the sentence that says so."""
    handed = handing.draft_for_sheet(sent)
    return handed.setup_text, handed.notice
