"""The set-up sheet: who each recording's device is, how it was come by; reference, loss, ride plan, title.

A plain HTML form: the browser's own fields bring their names and keyboard with them. `assets/15-sheet.js` sends what was
entered as one store; `app.forms` reads it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dash import html

from analysis.setup import DEFAULT_CLAIM_PCT, DEFAULT_LOSS_PCT, POINTS
from app import ids
from app.views.frozen import Native, frozen
from app.views.plan_table import plan_fields
from app.wording import channel_words, day_and_time, length

POINT_MEANS = {"trainer": "trainer (direct drive)", "roller": "roller (wheel-on)"}
POWER_MEANS = {"native": "the device itself", "developer": "an application"}
SIDES_MEAN = {"": "not stated", "both": "both sides", "left": "left only, doubled", "right": "right only, doubled"}
# What a reader weighs a verdict by; anything else may be written instead.
WAYS_OBTAINED = ("bought", "lent by the maker", "lent by a reader", "own")
LABEL_CHARS, TITLE_CHARS, NUMBER_CHARS = 60, 200, 20


@dataclass(frozen=True, kw_only=True)
class RecordingFields:
    """What one recording's row starts with; `key` is its id, `two_powers`: it holds its own and an application's."""

    key: str
    name: str
    about: str = ""
    values: Mapping[str, Any]
    two_powers: bool = False


def about_upload(upload: Mapping[str, Any]) -> str:
    """One line on what a file holds."""
    kind = upload.get("format")
    pieces = [kind.upper() if isinstance(kind, str) else "", day_and_time(upload.get("start_utc"))]
    pieces.append(length(upload.get("duration_s") or 0))
    pieces.append(", ".join(channel_words(c) for c in upload.get("channels") or ()))
    return " · ".join(p for p in pieces if p)


def two_powers(channels: Any) -> bool:
    """Whether a recording with these channels carries its own power and one that an application wrote."""
    return isinstance(channels, (list, tuple)) and "developer_power_w" in channels


def setup_sheet(
    sheet: str,
    recordings: Sequence[RecordingFields],
    button: Native,
    *,
    reference: str | None,
    title: str | None,
    loss_pct: Sequence[Any] = DEFAULT_LOSS_PCT,
    plan: Sequence[Mapping[str, str]] = (),
    before_button: Any = None,
) -> html.Div:
    """The form `sheet` (`ids.NEW` or `ids.EDIT`); `reference` is the key of the chosen recording, `plan` the steps as texts."""
    chosen = reference or (recordings[0].key if recordings else None)
    rows = [_recording_row(sheet, fields, fields.key == chosen) for fields in recordings]
    ride = html.Fieldset(
        [
            html.Legend("The ride"),
            html.P(
                "The reference is a choice, not a truth; a good one is the device whose accuracy you trust most. The "
                "loss is what the chain takes between pedals and hub or trainer: 1 to 5 % spans what is usual; narrow it "
                "if you have measured it.",
                className="hint",
            ),
            html.Div(
                [
                    _labelled("Title", _text(f"{sheet}-title", title, name="title", maxlength=TITLE_CHARS), wide=True),
                    _labelled("Drivetrain loss, from", _number(f"{sheet}-loss-low", loss_pct[0], name="loss-low"), "%"),
                    _labelled("Drivetrain loss, to", _number(f"{sheet}-loss-high", loss_pct[1], name="loss-high"), "%"),
                ],
                className="field-row",
            ),
        ]
    )
    form = {"class": "sheet", "data-sheet": sheet, "novalidate": True, "autocomplete": "off"}
    steps = plan_fields(sheet, plan, [(fields.key, fields.name) for fields in recordings])
    ways = Native("datalist", {"id": f"{sheet}-ways"}, [Native("option", {"value": way}) for way in WAYS_OBTAINED])
    return frozen(Native("form", form, [*rows, ways, ride, steps, before_button, html.Div(button, className="button-row")]))


def blocks_first_choice(*, chosen: bool) -> html.Fieldset:
    """Whether deltas stay hidden until the blocks are frozen."""
    box = {"type": "checkbox", "name": ids.BLOCKS_FIRST, "id": ids.BLOCKS_FIRST, "value": "yes", "checked": chosen}
    words = (
        "You correct the blocks and exclude what went wrong without knowing what it does to the result, freeze them with date "
        "and hash, and only then see how the devices compare. Readers see that you did. It cannot be switched on later."
    )
    label = html.Label([Native("input", box), " First show the blocks without deltas"], className="field reference-choice")
    return html.Fieldset([html.Legend("No peeking"), label, html.P(words, className="hint")], className="no-peeking")


def remembered_notice(labels: Sequence[str]) -> html.Div | None:
    """Says that this browser filled something in, what it keeps, and how to make it forget; None where it did not."""
    if not labels:
        return None
    words = (
        f"Filled in from what this browser was told of {', '.join(sorted(labels))} before. It keeps, in this browser only: "
        "label, measuring point, claim, firmware, sides and how obtained. Never positions or serial numbers."
    )
    return frozen(html.Div(
        [html.P(words), Native("button", {"type": "button", "class": "quiet", "data-forget": True}, "Forget all of it")],
        className="notice remembered", role="note",
    ))  # fmt: skip


def hidden(name: str, value: Any) -> Native:
    """A field that the page sends back as it got it."""
    return Native("input", {"type": "hidden", "name": name, "value": str(value)})


def submit(text: str, id_: str, *, disabled: bool = False) -> Native:
    """The form's button."""
    return Native("button", {"type": "submit", "id": id_, "class": "primary", "disabled": disabled}, text)


def _recording_row(sheet: str, fields: RecordingFields, is_reference: bool) -> html.Fieldset:
    def place(part: str) -> dict[str, str]:
        return {"data-part": part, "data-key": fields.key}

    def at(part: str) -> str:
        return f"{sheet}-{part}-{fields.key}"

    values = fields.values
    claim = _number(at(ids.CLAIM), values.get(ids.CLAIM), placeholder=f"{DEFAULT_CLAIM_PCT:g}", **place(ids.CLAIM))
    radio = {"type": "radio", "name": "reference", "value": fields.key, "id": at("reference"), "checked": is_reference}
    columns = [
        _labelled("Label", _text(at(ids.LABEL), values.get(ids.LABEL), maxlength=LABEL_CHARS, **place(ids.LABEL))),
        _labelled("Measuring point", _points(at(ids.POINT), values.get(ids.POINT), place(ids.POINT))),
        _labelled("Claim, ±", claim, "% of reading"),
        _labelled("Firmware", _text(at(ids.FIRMWARE), values.get(ids.FIRMWARE), maxlength=LABEL_CHARS, **place(ids.FIRMWARE))),
        _labelled("Sides", _options(at(ids.SIDES), values.get(ids.SIDES) or "", SIDES_MEAN, place(ids.SIDES))),
        _labelled("How obtained", _obtained(sheet, at(ids.OBTAINED), values.get(ids.OBTAINED), place(ids.OBTAINED))),
    ]
    if sheet == ids.EDIT:
        shift = _number(at(ids.SHIFT), values.get(ids.SHIFT), placeholder="found", **place(ids.SHIFT))
        columns.append(_labelled("Shift by hand", shift, "s"))
    if fields.two_powers:
        power = _options(at(ids.POWER), values.get(ids.POWER) or "native", POWER_MEANS, place(ids.POWER))
        columns.append(_labelled("Power taken from", power))
    columns.append(html.Label([Native("input", radio), " reference"], className="field reference-choice"))
    legend = html.Legend([html.Span(fields.name, className="file-name"), html.Span(fields.about, className="small")])
    return html.Fieldset([legend, html.Div(columns, className="field-row")], className="recording-row")


def _points(id_: str, chosen: str | None, place: Mapping[str, str]) -> Native:
    meanings = {"": "not stated"} | {point: POINT_MEANS.get(point, point) for point in POINTS}
    return _options(id_, chosen or "", meanings, place)


def _obtained(sheet: str, id_: str, value: Any, place: Mapping[str, str]) -> Native:
    """Free text; the browser offers the usual ways."""
    return _text(id_, value, list=f"{sheet}-ways", maxlength=TITLE_CHARS, placeholder="bought, lent by …", **place)


def _options(id_: str, chosen: str, meanings: Mapping[str, str], place: Mapping[str, str]) -> Native:
    options = [Native("option", {"value": v, "selected": v == chosen}, words) for v, words in meanings.items()]
    return Native("select", {"id": id_, **place}, options)


def _text(id_: str, value: Any, **attributes: Any) -> Native:
    return Native("input", {"type": "text", "id": id_, "value": value or "", **attributes})


def _number(id_: str, value: Any, **attributes: Any) -> Native:
    """A text field for a number: it keeps what was typed, so that a slip can be named rather than dropped."""
    text = "" if value is None else f"{value:g}" if isinstance(value, (int, float)) else str(value)
    return _text(id_, text, inputmode="decimal", maxlength=NUMBER_CHARS, **attributes)


def _labelled(name: str, control: Native, unit: str = "", *, wide: bool = False) -> html.Label:
    tail = [html.Span(unit, className="unit")] if unit else []
    return html.Label(
        [html.Span(name, className="field-name"), html.Span([control, *tail], className="with-unit")],
        className="field wide" if wide else "field",
    )
