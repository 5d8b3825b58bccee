"""How a device follows when power jumps: lag and rise, sprints, best means from 1 s to 20 min."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.figures import bests_height_px, changes_height_px, duration_text, sprint_traces_height_px, sprints_height_px
from app.views import parts
from app.views.chapters import Chapter, Material
from app.views.frozen import frozen
from app.views.pictures import lazy_picture, plain_table, subsection
from app.wording import NOTHING, clock_text, number, signed, span, unbroken, with_unit

BESTS, SPRINTS = "bests", "sprints"
CHANGES, SPRINT_TRACES = "changes", "sprint-traces"


def response_section(number_: int, report: Mapping[str, Any], labels: Sequence[str]) -> html.Section:
    """Lag, rise, smoothing; then sprints and best means, each with its picture and its figures."""
    return RESPONSE.section(number_, report, labels)


def _body(told: Material) -> list[Any]:
    return [part(told.report, told.labels) for part in (_response, _changes, _sprints, _bests)]


def _changes(report: Mapping[str, Any], labels: Sequence[str]) -> html.Div | None:
    """All changes of power over each other, one picture per device that answers any."""
    answering = [e["label"] for e in report["response"] if e["events"]]
    if not answering:
        return None
    caption = (
        "Every change of power, moved so that the reference (solid) passes half its way at zero, in shares of the reference's "
        "own step. Thin: the device's single changes; bold: the mean of all, of device and reference."
    )
    pictures = []
    for label in answering:
        says = f"All changes of power of {label} and the reference over each other; lag and rise are in the table above"
        picture = lazy_picture(f"{CHANGES}:{labels.index(label)}", changes_height_px(), caption=caption, says=says)
        pictures += [frozen(html.H4(parts.named(label, labels))), picture]
    return subsection("Changes of power, one over the other", *pictures)


RESPONSE = Chapter(
    name="response",
    title="Response",
    meaning=(
        "How a device follows when the power jumps. A lag is positive where the device is later than the reference; "
        "peaks compare the best 1, 5, 10 seconds each device wrote."
    ),
    body=_body,
)


def _response(report: Mapping[str, Any], labels: Sequence[str]) -> html.Div:
    entries = report["response"]
    if not entries:
        return frozen(html.P("The ride holds no jump of power from which this could be read."))
    durations = sorted({p["duration_s"] for r in entries for p in r.get("peaks") or ()})
    head = ("device", "events", "lag, s", "95 % interval, s", "rise, s", "reference's rise, s", "smoothing, s")
    rows = [_response_row(entry, durations, labels) for entry in entries]
    children = [plain_table("Response of each device", (*head, *(f"peak {d:g} s, %" for d in durations)), rows)]
    untold = [entry["label"] for entry in entries if entry["lag_s"] is None]
    if untold:
        text = (
            f"No lag is given for {', '.join(untold)}: without a signal both recordings share, or without a jump of power, "
            "a late device cannot be told from a late clock."
        )
        children.append(parts.notice(text))
    if any((entry["smoothing_s"] or 0.0) < 0 for entry in entries):
        children.append(html.P("A negative smoothing says that the reference is the smoother of the two.", className="small"))
    return frozen(*children, *(html.P(unbroken(e["note"]), className="small") for e in entries if e.get("note")))


def _response_row(entry: Mapping[str, Any], durations: Sequence[float], labels: Sequence[str]) -> list[Any]:
    peaks = {p["duration_s"]: p["delta_pct"] for p in entry.get("peaks") or ()}
    return [
        parts.named(entry["label"], labels),
        str(entry["events"]),
        html.Strong(signed(entry["lag_s"], 2)),
        span(entry["lag_ci_s"], 2),
        number(entry["rise_s"], 2),
        number(entry["reference_rise_s"], 2),
        number(entry["smoothing_s"]),
        *(signed(peaks.get(d)) for d in durations),
    ]


def _sprints(report: Mapping[str, Any], labels: Sequence[str]) -> html.Div | None:
    entries = [e for e in report.get("sprints") or () if e["work"] or e["peaks"]]
    if not entries:
        return None
    caption = (
        "Filled: work over the first seconds of all sprints, with its 95 % interval. Open: their best mean, with the interval "
        "that phase, the place where seconds begin, gives by itself. The shade is the allowance."
    )
    says = "Sprints: differences of work and of peaks by device; the figures are in the tables below"
    picture = lazy_picture(SPRINTS, sprints_height_px(report), caption=caption, says=says)
    work = [[*_over(e, w, labels, i), span(w["delta_pct_ci"])] for e in entries for i, w in enumerate(e["work"])]
    peaks = [
        [*_over(e, p, labels, i), span(p["phase_ci_pct"]), f"± {number(p['phase_pct'])}"]
        for e in entries
        for i, p in enumerate(e["peaks"])
    ]
    first = ("device", "over", "sprints", "delta, %")
    tables = [
        plain_table("Work of the sprints", (*first, "95 % interval, %"), work),
        plain_table("Peaks of the sprints", (*first, "interval by phase, %", "one varies by, %"), peaks),
    ]
    shape = plain_table("Shape of the sprints", _SHAPE, [_shape(e, labels) for e in entries])
    traces = lazy_picture(
        SPRINT_TRACES, sprint_traces_height_px(report),
        caption="Each sprint as every recording holds it, on the trial's clock; what is late stands to the right.",
        says="Each sprint as every recording holds it; peaks and work are in the tables below",
    )  # fmt: skip
    figures = frozen(html.Div(list(map(html.Div, tables)), className="side-by-side"), shape, *_sprint_notes(entries))
    return subsection("Sprints", traces, picture, figures)


_SHAPE = (
    "device", "sprints", "overshoot, %", "reference's overshoot, %", "fall, s", "reference's fall, s", "later on the fall, s",
)  # fmt: skip


def _shape(entry: Mapping[str, Any], labels: Sequence[str]) -> list[Any]:
    return [
        parts.named(entry["label"], labels),
        str(entry["sprints"]),
        number(entry["overshoot_pct"]),
        number(entry["reference_overshoot_pct"]),
        number(entry["fall_s"], 2),
        number(entry["reference_fall_s"], 2),
        signed(entry["fall_lag_s"], 2),
    ]


def _sprint_notes(entries: Sequence[Mapping[str, Any]]) -> list[html.P]:
    """How the windows were laid, and the peaks again where both devices are equally smooth."""
    notes = []
    for entry in entries:
        equal = entry.get("equal_smoothing")
        if equal:
            peaks = ", ".join(f"{with_unit(signed(p['delta_pct']), '%')} over {p['duration_s']:g} s" for p in equal["peaks"])
            notes.append(html.P(unbroken(f"At equal smoothing, {entry['label']}: {peaks}. {equal['note']}"), className="small"))
        if entry.get("note"):
            notes.append(html.P(unbroken(entry["note"]), className="small"))
    return notes


def _bests(report: Mapping[str, Any], labels: Sequence[str]) -> html.Div | None:
    entries = [e for e in report.get("bests") or () if e["values"]]
    if not entries:
        return None
    caption = (
        "The best mean of each device over the same seconds, 1 s to 20 min; the strokes hold device noise. Short bests tell "
        "of response as much as of accuracy."
    )
    says = "Differences of best means from 1 s to 20 min by device; the figures are in the table below"
    picture = lazy_picture(BESTS, bests_height_px(report), caption=caption, says=says)
    head = ("device", "over", "best, W", "reference's best, W", "delta, W", "delta, %", "95 % band, %", "at", "reference's at")
    rows = [_best(e, v, labels, i) for e in entries for i, v in enumerate(e["values"])]
    notes = dict.fromkeys(e.get("note") for e in entries if e.get("note"))
    table = frozen(plain_table("Best means", head, rows), *(html.P(unbroken(note), className="small") for note in notes))
    return subsection("Best means", picture, table)


def _best(entry: Mapping[str, Any], best: Mapping[str, Any], labels: Sequence[str], place: int) -> list[Any]:
    return [
        _device(entry, labels, place),
        duration_text(best["duration_s"]),
        number(best["best_w"]),
        number(best["reference_best_w"]),
        signed(best["delta_w"]),
        html.Strong(signed(best["delta_pct"])),
        span(best["delta_pct_ci"]),
        clock_text(best["at_s"]) if best["at_s"] is not None else NOTHING,
        clock_text(best["reference_at_s"]) if best["reference_at_s"] is not None else NOTHING,
    ]


def _over(entry: Mapping[str, Any], value: Mapping[str, Any], labels: Sequence[str], place: int) -> list[Any]:
    delta = html.Strong(signed(value["delta_pct"]))
    return [_device(entry, labels, place), duration_text(value["duration_s"]), str(value["sprints"]), delta]


def _device(entry: Mapping[str, Any], labels: Sequence[str], place: int) -> html.Span:
    """The name where a device's rows begin; for ears only further down."""
    return parts.named_once(entry, entry if place else None, labels)
