"""A dossier as its readers see it: conclusion, why, how sure, evidence, bench, incidents, method, corrections, cautions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from analysis.cautions import CAUTIONS
from analysis.dossier.document import Dossier
from analysis.dossier.standing import KIND_WORDS, Stand, Standing, moved_verdicts
from analysis.figures import bench_height_px, drawn_rows, forest_height_px
from analysis.replicates import AcrossTrials, by_method
from app import ids, links
from app.dossiers.tables import bench_rows, in_order
from app.views import parts
from app.views.dossier.device import device_facts
from app.views.dossier.method import corrections_section, method_section
from app.views.dossier.sheets import bench_section, evidence_section, incidents_section
from app.views.frozen import frozen
from app.views.pictures import fold, plain_table, stacking_table
from app.wording import NOTHING, counted, signed, span, unbroken

FOREST_SAYS = (
    "Every trial's held power, delta with its 95 % interval: a circle within the allowance, a triangle outside it, an "
    "open diamond unsettled. Lozenge: the mean over trials with its interval; dotted: where another trial is to be expected."
)
BENCH_SAYS = (
    "Every claimed quantity's deviation from its claim, in percent of it, with the measurement's uncertainty: circle agrees, "
    "triangle upward differs, open cannot tell. Pointing right: a run that was stopped early, the true figure is higher."
)


def reading_view(
    dossier: Dossier, stand: Stand, *, changed_utc: str, address: str | None, closed: frozenset[str] = frozenset()
) -> html.Article:
    """The whole page; sections without anything to say are left out, their numbers close up.

    address : where it stands, None for a page of its own in a file, from which nothing can be downloaded. closed : keys of trials
    that can no longer be opened.
    """
    measured = bench_rows(dossier)
    forest = picture_box("forest", forest_height(stand), FOREST_SAYS)
    bench = picture_box("bench", bench_height_px(measured), BENCH_SAYS) if drawn_rows(measured) else None
    made = [
        lambda n: _why(n, stand, forest),
        lambda n: _how_sure(n, stand),
        lambda n: evidence_section(n, dossier, closed),
        lambda n: bench_section(n, measured, in_order(dossier.bench), bench) if measured else None,
        lambda n: incidents_section(n, dossier, closed) if dossier.incidents or any(f.since for f in dossier.firmware) else None,
        lambda n: method_section(n, dossier, stand),
        lambda n: corrections_section(n, dossier, _moved(dossier)),
        lambda n: _taking(n, dossier, address) if address else None,
    ]
    sections: list[Any] = []
    for make in made:
        section = make(len(sections) + 1)
        sections += [section] if section is not None else []
    return html.Article(
        [_front(dossier, stand, changed_utc), *sections, _cautions(len(sections) + 1)], className="report dossier"
    )


def forest_height(stand: Stand) -> int:
    """Height of the forest, 0 where there is none. [px]"""
    return 0 if stand.shown is None else forest_height_px(stand.shown, stand.shown_by_firmware)


def picture_box(name: str, height_px: int, says: str) -> Any:
    """The place of a picture that its callback draws in the reader's theme; None without a height."""
    if not height_px:
        return None
    box = html.Div(
        id={"type": ids.DOSSIER_PICTURE, "index": name}, style={"minHeight": f"{height_px}px"}, **{"aria-hidden": "true"}
    )
    store = dcc.Store(id={"type": ids.DOSSIER_PICTURE_NAME, "index": name}, data=name)
    return html.Figure([box, store, html.Figcaption(says, className="small")], role="group", **{"aria-label": says})


def _front(dossier: Dossier, stand: Stand, changed_utc: str) -> html.Header:
    by = f" by {dossier.reviewer}" if dossier.reviewer else ""
    line = [
        html.Span(dossier.title, className="trial-title"),
        html.Span(counted(len(dossier.trials), "trial")),
        html.Span(f"last changed {changed_utc[:10]}{by}"),
    ]
    said = [html.P(text, className="second-sentence") for text in _paragraphs(dossier.conclusion)]
    limits = [html.P([html.Strong("What this cannot say. "), text]) for text in _paragraphs(dossier.limits)]
    head = [
        html.P(line, className="title-block"),
        parts.headline(stand.headline),
        *said,
        *(limits or [html.P("One unit of a device, these rigs and these days: other units may read differently.")]),
        device_facts(dossier),
    ]
    return html.Header(frozen(*head), className="front", id="conclusion")


def _why(number: int, stand: Stand, forest: Any) -> html.Section:
    meaning = (
        "Trials are the repeats here, never the blocks of one trial: what differs from day to day is in the interval. "
        "The shade is what claims and drivetrain loss can explain."
    )
    if not stand.standings:
        return parts.section(number, "why", "Why", meaning, html.P("There is no trial yet."))
    groups = [("All trials", stand.standings), *((f"Firmware {f}", own) for f, own in stand.by_firmware)]
    (name, spoken), others = groups[-1], groups[:-1]
    changes = [html.P(unbroken(c.sentence)) for c in stand.firmware]
    head = html.H3("Firmware against firmware") if changes else None
    levels = [s for s in spoken if s.across.level_w is not None]
    tables = [
        _standings(name, [s for s in spoken if s.across.level_w is None]),
        fold(f"{name}: held power level by level", _standings(f"{name}, by level", levels)) if levels else None,
        *(fold(f"{other}: the same", _standings(other, own)) for other, own in reversed(others) if own),
    ]
    return parts.section(number, "why", "Why", meaning, forest, frozen(head, *changes, *tables))


def _standings(name: str, standings: Sequence[Standing]) -> html.Div:
    head = (
        "what was ridden", "mean, %", "95 % interval, %", "allowance, %", "verdict", "trials", "another day, %",
        "trials differ by, points",
    )  # fmt: skip
    return stacking_table(name, head, [_standing(s) for s in standings], words=(4,), layout="by-line")


def _standing(s: Standing) -> tuple[Any, ...]:
    across, pooled = s.across, s.across.pooled
    what = KIND_WORDS[across.kind] if across.level_w is None else f"held at {across.level_w:.0f} W"
    return (
        what, signed(pooled.mean if pooled else across.trials[0].delta_pct), span(pooled.ci) if pooled else NOTHING,
        span(s.allowance_pct), parts.verdict_mark(s.verdict.word, s.verdict.reason), str(len(across.trials)),
        span(pooled.prediction) if pooled and pooled.prediction else NOTHING, f"{pooled.tau2**0.5:.1f}" if pooled else NOTHING,
    )  # fmt: skip


def _how_sure(number: int, stand: Stand) -> html.Section:
    meaning = "How far trials of one device differ is the measure of how far any one of them can be trusted."
    listed = html.Ul([html.Li(unbroken(text)) for text in stand.to_settle], className="plain-list")
    held = next((s.across for s in stand.standings if s.across.kind == "steady" and s.across.level_w is None), None)
    body = frozen(html.P(stand.how_sure), html.H3("What would settle or change it"), listed, *_pooled_otherwise(held))
    return parts.section(number, "how-sure", "How sure", meaning, body)


def _pooled_otherwise(held: AcrossTrials | None) -> list[Any]:
    """Held power with each trial left out, and by other methods."""
    if held is None or held.pooled is None:
        return []
    head, tables = ("mean, %", "95 % interval, %"), []
    if held.without:
        rows = [(name, signed(left.mean), span(left.ci)) for name, left in held.without]
        tables.append(plain_table("Held power with one trial left out", ("without", *head), rows))
    rows = [(p.method, signed(p.mean), span(p.ci), f"{p.tau2**0.5:.2f}", f"{100 * p.i2_frac:.0f}") for p in by_method(held)]
    methods = plain_table("Held power by method", ("method", *head, "trials differ by, points", "I², %"), rows)
    note = "REML is what this page uses; PM is Paule and Mandel's, DL DerSimonian and Laird's. Intervals after Hartung and Knapp."
    return [*tables, fold("The same by other methods", html.P(note, className="small"), methods)]


def _moved(dossier: Dossier) -> list[Any]:
    return [m for t in dossier.trials if t.earlier is not None for m in moved_verdicts(t.name, t.earlier, t.digest)]


def _taking(number: int, dossier: Dossier, address: str) -> html.Section:
    meaning = "Everything on this page can be checked elsewhere: the tables, and the samples on a clock that starts at zero."
    licence = "no licence is stated" if dossier.licence == "not stated" else f"licence {dossier.licence}"
    items = [
        html.Li(html.A("The page as one file", href=links.dossier_page_path(address), download="")),
        html.Li(
            [
                html.A("Data package", href=links.dossier_data_path(address), download=""),
                f": tables and samples as CSV, {licence}",
            ]
        ),
    ]
    return parts.section(number, "take-away", "Take away", meaning, frozen(html.Ul(items, className="plain-list")))


def _cautions(number: int) -> html.Section:
    meaning = "The maker's manual, local rules and qualified people always come first."
    listed = [html.P([html.Strong(c.topic + ". "), c.text]) for c in CAUTIONS]
    return parts.section(number, "cautions", "Cautions", meaning, frozen(html.Div(listed, className="cautions")))


def _paragraphs(text: str | None) -> list[str]:
    return [line.strip() for line in (text or "").splitlines() if line.strip()]
