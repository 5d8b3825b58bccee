"""Balance, effectiveness, smoothness, offset and phase, where recordings carry them; and what must not be held against what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from app.views import parts
from app.views.chapters import Chapter, Material
from app.views.pedal_drawings import drawings
from app.views.pictures import fold, plain_table
from app.wording import KIND_MEANS, number, signed, span, unbroken, with_unit


def pedalling_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section | None:
    """None where no recording carries any of it."""
    return PEDALLING.section(number_, report, labels) if told_of(report) else None


def told_of(report: Mapping[str, Any]) -> bool:
    """Whether any recording carries something of it."""
    return bool((report.get("pedalling") or {}).get("values"))


def _body(told: Material) -> list[Any]:
    found, labels = told.report["pedalling"], told.labels
    tables = (part(found, labels) for part in (_by_kind, _differences))
    return [*drawings(found, labels), *tables, _definitions(found), _by_block(found, labels)]


PEDALLING = Chapter(
    name="pedalling",
    title="Pedalling",
    meaning=(
        "How the power was made, as far as the recordings say it. Makers define these quantities differently; a difference "
        "between two of them is often one of definition."
    ),
    body=_body,
)


def _by_kind(told: Mapping[str, Any], labels: Sequence[str]) -> html.Div:
    rows = [_value(v, labels, f"{v['kind']}: {KIND_MEANS[v['kind']]}") for v in told["values"] if v["block"] is None]
    return plain_table("Pedalling by kind", (*_HEAD[:2], "kind", *_HEAD[2:]), rows, words=(1, 2))


def _by_block(told: Mapping[str, Any], labels: Sequence[str]) -> html.Details | None:
    rows = [_value(v, labels, v["block"]) for v in told["values"] if v["block"] is not None]
    table = plain_table("Pedalling by block", (*_HEAD[:2], "block", *_HEAD[2:]), rows, words=(1, 2))
    return fold(f"Block by block, {len(rows)} figures", table) if rows else None


_HEAD = ("recording", "quantity", "mean", "standard deviation", "samples")


def _value(value: Mapping[str, Any], labels: Sequence[str], over: str) -> list[Any]:
    mean = html.Strong(with_unit(number(value["mean"]), value["unit"]))
    return [parts.named(value["label"], labels), value["quantity"], over, mean, number(value["sd"]), str(value["n"])]


def _differences(told: Mapping[str, Any], labels: Sequence[str]) -> html.Div | None:
    differences = told.get("differences") or ()
    if not differences:
        return None
    head = ("recording", "against", "quantity", "blocks", "delta", "95 % interval", "like for like")
    rows = [
        [
            parts.named(d["label"], labels),
            d["against"],
            d["quantity"],
            str(d["blocks"]),
            html.Strong(with_unit(signed(d["delta"]), d["unit"])),
            span(d["delta_ci"]),
            html.Span("yes" if d["comparable"] else f"no: {unbroken(d['why'])}", className="said"),
        ]
        for d in differences
    ]
    return plain_table("One recording against another", head, rows, words=(1, 2, 6))


def _definitions(told: Mapping[str, Any]) -> html.Dl:
    pairs = [
        piece
        for d in told["definitions"]
        for piece in (html.Dt(d["quantity"]), html.Dd([unbroken(d["definition"]), " ", html.Em(unbroken(d["not_with"]))]))
    ]
    return html.Dl(pairs, className="definitions")
