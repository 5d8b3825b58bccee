"""The owner's tools for blocks: the form below the overlay, the handles on the block strip, the way back.

A plain HTML form with buttons; `assets/50-blocks.js` fills in the chosen block and sends what is asked, `app.editing` reads
it. The marks on the strip are every reader's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.edits import EDIT_KINDS, MAX_TEXT
from analysis.figures import MARGIN_PX
from app import ids
from app.history import ByHand
from app.views.block_marks import stretch_of, tags
from app.views.frozen import Native, html_text
from app.wording import KIND_MEANS, clock_text, counted

TIME_CHARS = 12
HELP = (
    "Choose a block on the strip, in the table or here. Drag one of its two edges on the strip, or tab to it: the arrow keys "
    "move it by a second, with shift by ten, Enter keeps it, Escape puts it back. Every change is kept with the trial and "
    "listed for readers; all figures follow at once."
)


def editing_panel(report: Mapping[str, Any], hand: ByHand, **details: Any) -> html.Div:
    """The owner's form below the overlay, folded unless `open=True`, with the place for what went wrong."""
    form = {"class": "sheet blocks-form", "data-blocks": True, "novalidate": True, "autocomplete": "off"}
    fields = [
        Native("input", {"type": "hidden", "name": "seen", "value": str(hand.version)}),
        html.P(HELP, className="hint"),
        html.Div([_choice(report["blocks"]), _reason()], className="field-row"),
        html.Div([_edges(), _split(), _label(), _others()], className="tool-row"),
        _back(hand),
        html.P(className="small", role="status", id="blocks-status"),
    ]
    text = html_text(Native("form", form, fields))
    return html.Div(
        [
            html.Details(
                [html.Summary("Edit the blocks by hand"), html.Div(className="frozen", **{"data-html": text})],
                id=ids.BLOCKS_PANEL,
                className="owner-panel blocks-panel",
                **details,
            ),
            html.Div(id=ids.BLOCKS_PROBLEM),
        ]
    )


def block_layer(blocks: Sequence[Mapping[str, Any]], *, owned: bool) -> html.Div:
    """Over the block strip: a mark on every edited or excluded block; for the owner the chosen block's two edges."""
    pieces: list[Any] = []
    for block in blocks:
        marks = tags(block)
        if marks:
            name = "excluded" if block.get("excluded_reason") is not None else "edited"
            data = {"data-start": str(block["start_s"]), "data-end": str(block["end_s"])}
            pieces.append(html.Span(className=f"block-mark {name}", hidden=True, **data))
    if owned:
        pieces += [_handle("start", "Start of the chosen block"), _handle("end", "End of the chosen block")]
    place = {"left": f"{MARGIN_PX['l']}px", "right": f"{MARGIN_PX['r']}px", "bottom": f"{MARGIN_PX['b']}px"}
    return html.Div(id=ids.BLOCK_LAYER, style=place, **{"data-html": html_text(pieces)})


def way_back(hand: ByHand) -> html.Div | None:
    """Where edits no longer fit the trial and there is no result: the buttons that take them back."""
    if not hand.edits:
        return None
    seen = Native("input", {"type": "hidden", "name": "seen", "value": str(hand.version)})
    form = Native("form", {"class": "sheet blocks-form", "data-blocks": True}, [seen, _back(hand)])
    return html.Div([html.Div(**{"data-html": html_text(form)}), html.Div(id=ids.BLOCKS_PROBLEM)])


def _handle(edge: str, name: str) -> html.Div:
    told = {"data-block-edge": edge, "aria-label": name, "aria-valuenow": "0", "hidden": True}
    return html.Div(html.Span(), id=f"block-edge-{edge}", className="block-edge", role="slider", tabIndex="0", **told)


def _choice(blocks: Sequence[Mapping[str, Any]]) -> html.Label:
    options = []
    for block in blocks:
        inner = stretch_of(block)
        data = {
            "data-start": block["start_s"], "data-end": block["end_s"], "data-from": inner[0], "data-to": inner[1],
            "data-kind": block["kind"], "data-name": block.get("name") or "",
            "data-excluded": block.get("excluded_reason") is not None,
        }  # fmt: skip
        words = f"{clock_text(block['start_s'])} {block.get('name') or KIND_MEANS[block['kind']]}"
        options.append(Native("option", {"value": block["id"], **data}, words))
    return _field("Block", Native("select", {"id": "block-choice"}, options))


def _reason() -> html.Label:
    field = Native("input", {"type": "text", "name": "reason", "id": "block-reason", "maxlength": MAX_TEXT})
    return _field("Reason, for readers (an exclusion needs one)", field, wide=True)


def _edges() -> html.Fieldset:
    fields = [_time("Start", "new-start"), _time("End", "new-end")]
    return _tool("Edges", [html.Div(fields, className="field-row"), _button("move", "Move edges")])


def _split() -> html.Fieldset:
    buttons = [_button("split", "Split"), _button("split-interval", "Split at the interval’s ends")]
    return _tool("Split", [html.Div([_time("At", "split-at")], className="field-row"), *buttons])


def _label() -> html.Fieldset:
    kinds = [Native("option", {"value": kind}, f"{kind}: {KIND_MEANS[kind]}") for kind in EDIT_KINDS]
    name = Native("input", {"type": "text", "name": "name", "id": "block-name", "maxlength": MAX_TEXT})
    kind = Native("select", {"name": "kind", "id": "block-kind"}, kinds)
    fields = html.Div([_field("Name", name), _field("Kind", kind)], className="field-row")
    return _tool("Label", [fields, _button("relabel", "Relabel")])


def _others() -> html.Fieldset:
    buttons = [_button("merge", "Merge with the next"), _button("exclude", "Exclude"), _button("include", "Count it again")]
    return _tool("Whole block", buttons)


def _back(hand: ByHand) -> html.Div:
    last = f"Undo: {hand.edits[-1].words}" if hand.edits else "Undo"
    sure = f"Press again to take back {counted(len(hand.edits), 'change')}"
    return html.Div(
        [
            _button("undo", last, disabled=not hand.edits),
            _button("automatic", "Back to automatic", disabled=not hand.edits, **{"data-sure": sure}),
        ],
        className="button-row back-row",
    )


def _tool(name: str, children: Sequence[Any]) -> html.Fieldset:
    return html.Fieldset([html.Legend(name), *children], className="tool")


def _time(name: str, field: str) -> html.Label:
    return _field(name, Native("input", {"type": "text", "name": field, "id": f"block-{field}", "maxlength": TIME_CHARS}))


def _field(name: str, control: Native, *, wide: bool = False) -> html.Label:
    return html.Label([html.Span(name, className="field-name"), control], className="field wide" if wide else "field")


def _button(act: str, words: str, **more: Any) -> Native:
    return Native("button", {"type": "button", "class": "quiet", "id": f"blocks-{act}", "data-act": act, **more}, words)
