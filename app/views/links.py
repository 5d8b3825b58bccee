"""The owner's panel "Links and keeping" of a trial or dossier: who may look, who may change, what can be taken away, its end.

Plain HTML forms; `assets/15-sheet.js` sends each as one piece, `app.keeping` reads it.
"""

from __future__ import annotations

from typing import Any

from dash import html

from app import ids, links
from app.views.frozen import Native, frozen
from app.views.notices import problem
from app.views.parts import owner_link

LABEL_CHARS = 80
SHOWN_CHARS = 6  # of a closed link: enough to know it again
# What deleting takes away and leaves, before and after; where to go on from there.
ENDS = {
    "trial": (
        "Deletes the trial with its set-ups, notes, links and results, and its recordings unless another trial holds the same "
        "ones. Dossiers that took its figures, of whomever, keep them and say that the trial cannot be opened any more.",
        "Its set-up, blocks, notes and links are gone, and so are its recordings, unless another trial holds the same ones. "
        "Dossiers that took its figures keep them.",
        "Start a new trial",
        links.HOME,
    ),
    "dossier": (
        "Deletes the dossier with every version of it and its links. Its trials stay.",
        "Every version of it is gone; its trials stay.",
        "Your dossiers",
        links.DOSSIERS,
    ),
}


def links_panel(shelf: Any) -> html.Details:
    """The folded panel; open where readers cannot come in at all. `shelf` is a `keeping.Shelf`."""
    noun, given_out = shelf.kind.noun, bool(shelf.links.readers)
    words = "Links and keeping" if given_out else "Links and keeping: not published yet"
    return html.Details(
        [html.Summary(words), html.Div(links_body(shelf), id=ids.LINKS_BODY[noun])],
        id=ids.LINKS_PANEL[noun],
        className="owner-panel links-panel",
        open=shelf.private and given_out,
        **{"data-fold": "links"},
    )


def links_body(shelf: Any, told: Any = None) -> list[Any]:
    """What stands in the panel; `told` is a `keeping.Told` of what was just done."""
    said = []
    if told is not None and told.problem:
        said = [problem(told.problem)]
    elif told is not None and told.owner_link:
        said = [owner_link(told.owner_link, shelf.kind.noun)]
    taking = _taking_away(shelf) if shelf.kind.noun == "trial" else ()
    return [*said, frozen(*_readers(shelf), *_owners(shelf), *taking, *_end(shelf))]


def deleted_view(noun: str) -> html.Div:
    """In place of the page of what was just deleted."""
    gone, on, start = ENDS[noun][1:]
    return html.Div(
        [
            html.P("Deleted", className="overline"),
            html.H1(f"This {noun} is deleted"),
            html.P(f"{gone} Its links lead nowhere from now on."),
            html.P(html.A(on, href=start)),
        ],
        className="waiting",
        role="status",
    )


def _readers(shelf: Any) -> list[Any]:
    living, noun = [link for link in shelf.links.readers if link.lives], shelf.kind.noun
    lost = html.P(
        f"No reader can open this {noun} now: every reader link has ended or was revoked. You see it at an address that opens "
        "for you only. Make a new reader link to share it again.",
        className="notice caution",
    )
    if not shelf.links.readers:
        lost = html.P(f"Nobody else can open this {noun} yet. Make a reader link to publish it.")
    return [
        html.H3("Who may look"),
        html.P("Whoever has a reader link sees the page and can change nothing.", className="hint"),
        None if living else lost,
        *[_reader(link, shelf) for link in living],
        _closed(shelf.links.readers, "reader"),
        _new("new-reader", "New reader link", shelf),
    ]


def _reader(link: Any, shelf: Any) -> html.Div:
    address, called = links.absolute(shelf.base, shelf.kind.path(link.name)), link.label or "reader link"
    here = html.Span(" this page's address", className="small") if link.name == shelf.address else None
    change = _form(
        "change-reader", shelf,
        _label_field(f"links-label-{link.name}", link.label), _day_field(f"links-day-{link.name}", link.last_day),
        _button("Save", f"Save name and last day of {called}"), name=link.name,
    )  # fmt: skip
    revoke = _form("revoke-reader", shelf, _button("Revoke", f"Revoke {called}"), name=link.name)
    copy = html.Button("Copy", type="button", className="quiet", **{"data-copy": address, "aria-label": f"Copy {called}"})
    line = html.P([html.Code(address, className="owner-path"), here])
    return html.Div([line, html.Div([copy, revoke], className="button-row"), change], className="link-row")


def _owners(shelf: Any) -> list[Any]:
    living = [link for link in shelf.links.owners if link.lives]
    return [
        html.H3("Who may change it"),
        html.P(
            f"Whoever opens an owner link may change and delete this {shelf.kind.noun} from that browser on. A link is told "
            "once, when it is made; here only its name is kept.",
            className="hint",
        ),
        *[_owner(link, shelf, last=len(living) == 1) for link in living],
        _closed(shelf.links.owners, "owner"),
        _new("new-owner", "New owner link", shelf),
    ]


def _owner(link: Any, shelf: Any, *, last: bool) -> html.Div:
    called = link.label or f"owner link of {_day(link.created_utc)}"
    mine = link.name in shelf.own_names
    about = [f"made {_day(link.created_utc)}", f"ends {link.last_day}" if link.last_day else "no end"]
    warned = []
    if last:
        words = f"I know that then nobody can change or delete this {shelf.kind.noun} any more."
        box = Native("input", {"type": "checkbox", "name": "meant", "value": "yes", "required": True})
        warned = [html.Label([box, html.Span(words)], className="meant")]
    elif mine:
        warned = [html.Span("Without it this browser may only look.", className="small")]
    revoke = _form("revoke-owner", shelf, *warned, _button("Revoke", f"Revoke {called}"), name=link.name)
    head = [html.Strong(called), " (this browser)" if mine else "", html.Span(" · ".join(["", *about]), className="small")]
    return html.Div([html.P(head), revoke], className="link-row")


def _closed(all_links: Any, kind: str) -> html.Details | None:
    closed = [link for link in all_links if not link.lives]
    if not closed:
        return None
    words = "link" if len(closed) == 1 else "links"
    rows = [
        html.Li(
            f"{link.label or link.name[:SHOWN_CHARS] + '…'}: made {_day(link.created_utc)}, "
            + (f"revoked {_day(link.revoked_utc)}" if link.revoked_utc else f"ended {link.last_day}")
        )
        for link in closed
    ]
    return html.Details([html.Summary(f"{len(closed)} closed {kind} {words}"), html.Ul(rows)], className="closed-links small")


def _new(act: str, words: str, shelf: Any) -> Native:
    label, day = _label_field(f"{act}-label", ""), _day_field(f"{act}-day", "")
    return _form(act, shelf, label, day, _button(words, words))


def _taking_away(shelf: Any) -> list[Any]:
    path = links.everything_path(shelf.address)
    return [
        html.H3("Take it away"),
        html.P(
            [
                html.A("everything.zip", href=path, download="everything.zip"),
                " holds recordings, set-ups, notes and the result, and no link or key; another server of this program opens it.",
            ]
        ),
    ]


def _end(shelf: Any) -> list[Any]:
    field = html.Label(
        [
            html.Span('Type "delete" to confirm', className="field-name"),
            Native("input", {"type": "text", "name": "confirm", "id": "links-confirm", "autocomplete": "off", "maxlength": "20"}),
        ],
        className="field",
    )
    noun = shelf.kind.noun
    button = Native("button", {"type": "submit", "class": "quiet danger"}, f"Delete this {noun}")
    return [
        html.H3("Delete it"),
        html.P(f"{ENDS[noun][0]} This cannot be undone; every link leads nowhere afterwards.", className="hint"),
        _form("delete", shelf, field, button, version=shelf.version),
    ]


def _form(act: str, shelf: Any, *fields: Any, name: str = "", version: int | None = None) -> Native:
    version = shelf.links.version if version is None else version
    hidden = {"act": act, "seen": str(version)} | ({"name": name} if name else {})
    told = [Native("input", {"type": "hidden", "name": key, "value": value}) for key, value in hidden.items()]
    return Native("form", {"class": "sheet link-form", "data-sheet": ids.LINKS_SHEET[shelf.kind.noun]}, [*told, *fields])


def _label_field(id_: str, label: str) -> html.Label:
    attributes = {"type": "text", "name": "label", "id": id_, "value": label, "maxlength": LABEL_CHARS, "autocomplete": "off"}
    return html.Label([html.Span("Name", className="field-name"), Native("input", attributes)], className="field")


def _day_field(id_: str, day: str) -> html.Label:
    box = Native("input", {"type": "date", "name": "expires", "id": id_, "value": day})
    return html.Label([html.Span("Last day, if any", className="field-name"), box], className="field")


def _button(words: str, whole: str) -> Native:
    return Native("button", {"type": "submit", "class": "quiet", "aria-label": whole}, words)


def _day(utc: str) -> str:
    return utc[:10]
