"""The alignment section: per recording its shift and everything behind it, the candidates, and the pictures of the match."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from analysis.figures import match_height_px, matched_signals, stretch_height_px
from app import ids
from app.views import clock_words, parts
from app.views.frozen import frozen
from app.views.tables import scrolling
from app.wording import NOTHING, VIA_MEANS, number, signed, unbroken, with_unit

MATCH, STRETCH = "match", "stretch"  # the two pictures; part of their ids
MEANING = (
    "Every recording has a clock of its own; the shift is added to it to put it on the reference's. Where a shift is not "
    "settled, two or more fit about equally well, and times, lags and short blocks of that device must be read with care."
)
GRAPH_CONFIG = {"staticPlot": True, "displayModeBar": False}


def clocks_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """One table for all clocks, then one part per device."""
    response = {r["label"]: r for r in report["response"]}
    devices = [e for e in report["alignment"] if e["label"] != report["reference"]]
    articles = [_device(entry, labels.index(entry["label"]), labels, response.get(entry["label"])) for entry in devices]
    return parts.section(number_, "alignment", "Alignment of the clocks", MEANING, frozen(_overview(report, labels)), *articles)


def _overview(report: Mapping[str, Any], labels: Sequence[str]) -> html.Div:
    head = [html.Th(name, scope="col") for name in ("recording", "shift ± standard error", "found from", "state")]
    rows = [
        html.Tr(
            [
                html.Th(parts.named(entry["label"], labels), scope="row"),
                html.Td("reference" if entry["label"] == report["reference"] else _shift(entry)),
                html.Td(NOTHING if entry["label"] == report["reference"] else clock_words.found_words(entry)),
                html.Td(NOTHING if entry["label"] == report["reference"] else state_mark(entry)),
            ]
        )
        for entry in report["alignment"]
    ]
    return scrolling(html.Table([html.Thead(html.Tr(head)), html.Tbody(rows)], className="clock-table"), "Shift of each clock")


def state_mark(entry: Mapping[str, Any]) -> html.Span:
    """Word and shape together, as verdicts have them."""
    word = clock_words.state(entry)
    shape = {"settled": "●", "set by hand": "✎", "not settled": "◇"}[word]
    mark = html.Span(shape, className="mark", **{"aria-hidden": "true"})
    return html.Span([mark, word], className=f"clock-state {word.replace(' ', '-')}")


def _shift(entry: Mapping[str, Any]) -> Any:
    """A settled number stands out; one that is only tried does not."""
    words = clock_words.shift_words(entry)
    return html.Strong(words) if entry["settled"] else html.Span(words, className="tried")


def _device(entry: Mapping[str, Any], index: int, labels: Sequence[str], response: Mapping[str, Any] | None) -> html.Article:
    best = _best(entry)
    pairs = [
        ("shift", [_shift(entry), " ", state_mark(entry)]),
        ("found from", clock_words.found_words(entry)),
        ("how peaked", clock_words.peak_words(best) if best else "no signal that both carry"),
        ("drift", clock_words.drift_words(entry)),
        ("response lag", unbroken(clock_words.lag_words(response))),
        ("clocks alone", clock_words.clocks_alone_words(entry)),
        ("sync pattern", _pattern(entry)),
        ("stretches", clock_words.stretches_words(entry)),
    ]
    facts = [piece for name, value in pairs if value for piece in (html.Dt(name), html.Dd(value))]
    note = parts.notice(clock_words.note_words(entry)) if entry.get("note") else None
    text = [html.H3(parts.named(entry["label"], labels)), html.Dl(facts, className="facts"), note, _candidates(entry)]
    pictures = [_match(entry, index), _stretch(entry, index)]
    return html.Article(
        [frozen(*text), html.Div([p for p in pictures if p], className="clock-pictures")], className="clock-device"
    )


def _best(entry: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The candidate that the shift rests on most; where it rests on none, a settled one, else the closest match."""
    candidates = entry.get("candidates") or ()
    used = [c for c in candidates if c.get("used")]
    own = [c for c in used if c["via"] == entry["via"]]
    settled = [c for c in candidates if c.get("settled")]
    return next(iter(own or used or settled or sorted(candidates, key=lambda c: -(c["correlation"] or 0.0))), None)


def _pattern(entry: Mapping[str, Any]) -> str:
    found = entry.get("pattern_shift_s")
    return "" if found is None else f"recognised, at about {with_unit(signed(found, 0), 's')}"


def _candidates(entry: Mapping[str, Any]) -> html.Div | None:
    """What each signal said, the ones that were used marked."""
    candidates = entry.get("candidates") or ()
    if not candidates:
        return None
    names = ("signal", "shift, s", "± s", "correlation", "lead", "next peak, s")
    head = [html.Th(name, scope="col", className="num" if i else "") for i, name in enumerate(names)]
    rows = [html.Tr(_candidate_cells(c), className="used" if c.get("used") else "") for c in candidates]
    meaning = html.P(
        "What each signal said of the shift. Lead: of its best shift over the next best or over chance, in log-likelihood. "
        "Power is asked last, because its shift holds the response lag as well.",
        className="small",
    )
    table = html.Table([html.Thead(html.Tr(head)), html.Tbody(rows)], className="candidates")
    return html.Div([meaning, scrolling(table, f"What each signal said of the shift of {entry['label']}")])


def _candidate_cells(candidate: Mapping[str, Any]) -> list[Any]:
    used = candidate.get("used")
    shift = signed(candidate["shift_s"], 2 if candidate.get("settled") else 1)
    figures = (
        html.Strong(shift) if used else shift,
        number(candidate["shift_se_s"], 3) if candidate.get("settled") else NOTHING,
        number(candidate["correlation"], 3),
        number(candidate["margin"], 0),
        signed(candidate.get("rival_shift_s"), 1),
    )
    word = "used" if used else "settled, not used" if candidate.get("settled") else "not settled"
    return [
        html.Th([candidate["via"].replace("_", " "), " ", html.Span(word, className="small")], scope="row"),
        *(html.Td(f, className="num") for f in figures),
    ]


def _match(entry: Mapping[str, Any], index: int) -> html.Figure | None:
    if not any(c.get("curve") for c in entry.get("candidates") or ()):
        return None
    peaks = "; ".join(
        f"{c['via'].replace('_', ' ')} peaks at {signed(c['shift_s'], 1)} s with correlation {number(c['correlation'], 2)}"
        for c in entry["candidates"]
    )
    caption = (
        f"How well each signal matches at each shift. Dot: its best shift; triangle: the next peaks; upright line: the shift "
        f"in use{'' if entry['settled'] else ', dashed because it is not settled'}; dotted: the clocks alone."
    )
    if len(matched_signals(entry)) < len(entry["candidates"]):
        caption += " Signals whose best shift lies far from it stand in the table only."
    label = f"Match of {entry['label']} over shift: {peaks}"
    return _picture(f"{MATCH}:{index}", match_height_px(entry), caption, label)


def _stretch(entry: Mapping[str, Any], index: int) -> html.Figure | None:
    if not entry.get("show"):
        return None
    caption = (
        "The sharpest change of power that both show. What still lies between the lines below is the device's response, "
        "not its clock."
        if entry["settled"] and entry["via"] in _TELLS_LAG
        else "The sharpest change of power that both show."
    )
    label = (
        f"Power of {entry['label']} and the reference over the sharpest change, by the clocks alone and with "
        f"{clock_words.shift_words(entry)}"
    )
    return _picture(f"{STRETCH}:{index}", stretch_height_px(), caption, label)


_TELLS_LAG = frozenset(VIA_MEANS) - {"power", "clock", "manual"}


def _picture(name: str, height_px: int, caption: str, label: str) -> html.Figure:
    """A chart that is drawn once it is scrolled to; `assets/60-evidence.js` watches for `data-seen`."""
    place = html.Div(
        id={"type": ids.CLOCK_PICTURE, "index": name}, style={"minHeight": f"{height_px}px"}, **{"aria-hidden": "true"}
    )
    return html.Figure(
        [
            place,
            dcc.Store(id={"type": ids.CLOCK_SEEN, "index": name}),
            html.Figcaption(caption, className="small"),
        ],
        className="clock-picture",
        role="group",
        **{"aria-label": label, "data-clock-picture": name, "data-seen": ids.CLOCK_SEEN, "data-index": name},
    )


def chart(figure: Any) -> dcc.Graph:
    """A drawn picture, at the height it was drawn for."""
    return dcc.Graph(figure=figure, config=GRAPH_CONFIG, responsive=True, style={"height": f"{figure.layout.height}px"})
