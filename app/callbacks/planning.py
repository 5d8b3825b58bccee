"""The ride plan's page: what is typed -> what comes of it; beginnings; keeping and freezing, which ask who may first."""

from dash import ClientsideFunction, Input, Output, State, callback, clientside_callback, ctx, dcc, no_update

from analysis.errors import CountercheckError
from app import ids, links
from app.planning import access, keeping, looking
from app.services import get_services
from app.views.notices import problem

clientside_callback(
    ClientsideFunction("countercheck", "planTold"),
    Output(ids.PLAN_EDITOR, "title"),
    Input(ids.PLAN_TOLD, "data"),
    prevent_initial_call=True,
)


@callback(
    Output(ids.PLAN_TOP, "data-html"),
    Output(ids.PLAN_ANSWER, "data-html"),
    Output(ids.PLAN_STEPS, "data-html"),
    Output(ids.PLAN_TOLD, "data"),
    Input(ids.PLAN_TYPED, "data"),
    prevent_initial_call=True,
)
def reckon(typed):
    """The editor's texts in; drawing, answer, steps out, or the sentences for its fields, with what stood there left."""
    found, told = looking.told(typed)
    return (no_update, no_update, no_update, told) if found is None else (found.top, found.answer, found.steps, told)


@callback(Output(ids.PLAN_EDITOR, "data-html"), Input(ids.PLAN_START, "data"), prevent_initial_call=True)
def begin(start):
    """A named beginning, or a draft that the browser held; the script then asks what comes of it."""
    return looking.begun(start)


@callback(
    Output(ids.PLAN_BODY, "children"),
    Output(ids.PLAN_TOKEN, "data"),
    Output(ids.PLAN_VERSION, "data"),
    Output(ids.PLAN_SAID, "children"),
    Output(ids.PLAN_GO, "href"),
    Input(ids.PLAN_ACT, "data"),
    State(ids.PLAN_TOKEN, "data"),
    State(ids.PLAN_VERSION, "data"),
    prevent_initial_call=True,
)
def act(asked, token, version):
    """Keep what was typed, or change, freeze, delete what is kept; the page as it is afterwards."""
    try:
        if token is None:
            done = keeping.keep(get_services(), asked)
            access.grant(ctx.response, done.stored.token, done.owner_key)
        else:
            access.require_owner(token)
            done = keeping.change(get_services(), token, asked, seen_version=version)
    except CountercheckError as trouble:
        return no_update, no_update, no_update, problem(str(trouble)), no_update
    if done.stored is None:
        return no_update, no_update, no_update, None, links.PLAN
    page = looking.page_of(done.stored, owner_key=done.owner_key, said=done.said)
    return page, done.stored.token, done.stored.version, no_update, no_update


@callback(
    Output(ids.PLAN_FILE, "data"),
    Output(ids.PLAN_SAID, "children", allow_duplicate=True),
    Input(ids.PLAN_TAKE, "data"),
    prevent_initial_call=True,
)
def take(asked):
    """What stands in the editor as a file."""
    try:
        data, name = looking.file_of(asked)
    except CountercheckError as trouble:
        return no_update, problem(str(trouble))
    return dcc.send_bytes(data, name), None
