"""The owner's forms of a dossier, one fold per part. `assets/80-dossier.js` sends a form as one piece."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.dossier.document import Dossier
from analysis.dossier.methods import checklist_of
from analysis.dossier.standing import Stand
from app import ids
from app.dossiers.fields import BENCH_PRESETS, PARTS, Field, Part, typed
from app.views.frozen import Native, frozen

LINE, PARAGRAPHS = 300, 6000  # characters
OWNER_FORMS = "your-side"


def editor(dossier: Dossier, stand: Stand, *, version: int, panel: Any) -> html.Section:
    """All forms; `version` is that of the dossier they were made from, `panel` is the one of its links."""
    tree = dossier.to_dict()
    folds = [_part(part, _entries(part, tree), version, dossier.device.name) for part in PARTS.values()]
    return html.Section(
        [
            html.H2("Your side of this dossier"),
            html.P("Only you see what follows. Everything is optional; readers see a change at once.", className="hint"),
            html.Div(id=ids.DOSSIER_PROBLEM, **{"aria-live": "polite"}),
            panel,
            frozen(_adding(version), *folds, _answers(dossier, stand, version)),
        ],
        className="dossier-editor",
        id=OWNER_FORMS,
        **{"aria-label": "Forms of the dossier's owner"},
    )


def way_to_forms() -> html.Div:
    """For the owner above the page: everything to be filled in is below it."""
    way = html.A("your side of it, with its links and forms", href=f"#{OWNER_FORMS}")
    return frozen(html.P(["You own this dossier; ", way, ", is below."], className="notice", role="note"))


def new_dossier_form() -> html.Div:
    """The form for a new dossier."""
    form = {"class": "sheet", "data-dossier": "new", "novalidate": True, "autocomplete": "off"}
    fields = [
        _labelled("Title", _input("title", "", maxlength=80)),
        _labelled("Device under review, as its trials label it", _input("device", "", maxlength=80)),
    ]
    row = html.Div(fields, className="field-row", **{"data-row": "yes"})
    return frozen(
        Native("form", form, [row, html.Div(_button("Start the dossier", kind="submit", css="primary"), className="button-row")])
    )


def _entries(part: Part, tree: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    entry = tree if not part.path else tree[part.path]
    return list(entry) if part.many else [entry or {}]


def _part(part: Part, entries: Sequence[Mapping[str, Any]], version: int, device: str) -> html.Details:
    rows = [_row(part, entry, i) for i, entry in enumerate(entries)]
    buttons = [_button("Keep", kind="submit", css="primary")]
    more: list[Any] = []
    if part.many and part.name != "trials":
        blank = Native("template", {"data-blank": "yes"}, _row(part, {}, "new"))
        buttons.append(_button("Add a row", **{"data-add-row": "yes"}))
        more.append(blank)
    if part.name == "bench":
        keys = ("row.quantity", "row.unit", "row.promise")
        presets = [
            Native("option", {"value": json.dumps({"device": device} | dict(zip(keys, preset, strict=True)))}, preset[0])
            for preset in BENCH_PRESETS
        ]
        choose = Native(
            "select",
            {"data-preset": "yes", "aria-label": "Add a usual quantity"},
            [Native("option", {"value": ""}, "Add a usual quantity …"), *presets],
        )
        buttons.append(choose)
    if part.name == "trials":
        buttons.append(_button("Look at all trials again", **{"data-act": "look-again"}))
    form = _form(version, [html.Div(rows, className="rows"), *more, html.Div(buttons, className="button-row")], part=part.name)
    count = f" ({len(entries)})" if part.many else ""
    return html.Details(
        [html.Summary(f"{part.title}{count}"), html.P(part.meaning, className="hint"), form], **{"data-fold": part.name}
    )


def _row(part: Part, entry: Mapping[str, Any], number: Any) -> html.Fieldset:
    fields = [_field(part, f, typed(f, entry), number) for f in part.fields]
    remove = _button("Remove", **{"data-remove-row": "yes"}) if part.many else None
    return html.Fieldset([html.Div(fields, className="field-row"), remove], className="recording-row", **{"data-row": "yes"})


def _field(part: Part, field: Field, value: Any, number: Any) -> Any:
    if field.kind == "kept":
        return Native("input", {"type": "hidden", "name": field.key, "value": str(value or "")})
    if field.kind == "choice":
        options = [Native("option", {"value": o, "selected": o == value}, o or "not stated") for o in field.options]
        return _labelled(field.label, Native("select", {"name": field.key}, options))
    if field.kind == "yes":
        return html.Label(
            [Native("input", {"type": "checkbox", "name": field.key, "value": "yes", "checked": value}), f" {field.label}"],
            className="field reference-choice",
        )
    if field.kind == "some":
        boxes = [
            html.Label(
                [
                    Native(
                        "input", {"type": "checkbox", "name": field.key, "value": o, "data-some": "yes", "checked": o in value}
                    ),
                    f" {o}",
                ]
            )
            for o in field.options
        ]
        return html.Fieldset(
            [html.Legend(field.label, className="field-name"), html.Div(boxes, className="some")], className="field"
        )
    if field.kind == "long":
        area = Native("textarea", {"name": field.key, "rows": "3", "maxlength": PARAGRAPHS}, value)
        return _labelled(field.label, area, css="field wide")
    special: dict[str, dict[str, Any]] = {"number": {"inputmode": "decimal", "maxlength": 20}, "day": {"type": "date"}}
    extra = special.get(field.kind, {"maxlength": LINE})
    return _labelled(field.label, _input(field.key, value, placeholder=field.hint, **extra), unit=field.unit)


def _adding(version: int) -> html.Details:
    row = html.Div(
        [
            _labelled("Link of the trial", _input("link", "", maxlength=LINE, placeholder="https://…/trial/…"), css="field wide"),
            _labelled("Label of the device in it", _input("label", "", maxlength=80)),
        ],
        className="field-row",
        **{"data-row": "yes"},
    )
    hint = (
        "Any trial on this server whose link you have, another rider's too. A trial from elsewhere: drop its file on the home "
        "page first, then add the link that it gets. What its recordings tell of drop-outs, batteries and zeros is put into the "
        "incidents."
    )
    form = _form(
        version, [row, html.Div(_button("Add the trial", kind="submit", css="primary"), className="button-row")], act="add-trial"
    )
    return html.Details([html.Summary("Add a trial"), html.P(hint, className="hint"), form], **{"data-fold": "add-trial"})


def _answers(dossier: Dossier, stand: Stand, version: int) -> html.Details:
    items = checklist_of(dossier, stand)
    given = dossier.answers or {}
    asked = [i for i in items if i.blank or str(i.number) in given]
    rows = [
        _labelled(
            f"{i.number}. {i.asks}" + (f": {i.blank}" if i.blank else ""),
            Native("textarea", {"name": str(i.number), "rows": "2", "maxlength": PARAGRAPHS}, given.get(str(i.number), "")),
            css="field wide",
        )
        for i in asked
    ]
    body = [
        html.Div(rows, className="field-row", **{"data-row": "yes"}),
        html.Div(_button("Keep", kind="submit", css="primary"), className="button-row"),
    ]
    return html.Details(
        [html.Summary(f"Blanks of the checklist ({sum(bool(i.blank) for i in items)})"), _form(version, body, act="answers")],
        **{"data-fold": "answers"},
    )


def _form(version: int, body: list[Any], *, part: str = "", act: str = "") -> Native:
    return Native(
        "form",
        {
            "class": "sheet",
            "data-dossier": "change",
            "data-part": part,
            "data-act": act,
            "data-made-for": str(version),
            "novalidate": True,
            "autocomplete": "off",
        },
        body,
    )


def _input(name: str, value: Any, **attributes: Any) -> Native:
    return Native("input", {"type": "text", "name": name, "value": value or "", **attributes})


def _button(text: str, *, kind: str = "button", css: str = "quiet", **attributes: str) -> Native:
    return Native("button", {"type": kind, "class": css, **attributes}, text)


def _labelled(name: str, control: Native, *, unit: str = "", css: str = "field") -> html.Label:
    tail = [html.Span(unit, className="unit")] if unit else []
    return html.Label(
        [html.Span(name, className="field-name"), html.Span([control, *tail], className="with-unit")], className=css
    )
