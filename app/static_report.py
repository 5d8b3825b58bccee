"""The result as one HTML file that needs no server, no network and no script. Everything from outside is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any

from app import tables
from app.tables import BLOCK_COLUMNS, NOTHING, SUMMARY_COLUMNS, Column, plain, signed, span

STYLE = """
:root { color-scheme: light dark; --ink: #1b1f24; --soft: #57606a; --line: #d0d7de; --paper: #fff; }
@media (prefers-color-scheme: dark) { :root { --ink: #e6edf3; --soft: #9aa4af; --line: #3d444d; --paper: #0f1419; } }
body { font: 16px/1.5 system-ui, sans-serif; color: var(--ink); background: var(--paper); max-width: 70rem;
       margin: 2rem auto; padding: 0 1rem; }
h1 { font-size: 1.1rem; color: var(--soft); font-weight: 600; } h2 { font-size: 1.1rem; margin-top: 2.5rem; }
.headline { font-size: 1.5rem; line-height: 1.35; margin: .25rem 0 1rem; }
.wide { overflow-x: auto; margin-bottom: 1.5rem; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; font-size: .9rem; }
caption { text-align: left; color: var(--soft); padding-bottom: .4rem; }
th, td { padding: .25rem .75rem .25rem 0; border-bottom: 1px solid var(--line); text-align: left; vertical-align: top; }
th small { display: block; font-weight: 400; color: var(--soft); } .right { text-align: right; white-space: nowrap; }
footer { margin-top: 3rem; color: var(--soft); font-size: .85rem; }
@media print { body { margin: 0; max-width: none; } h2 { break-after: avoid; } tr { break-inside: avoid; } }
"""

RECORDING_COLUMNS = (
    Column(heading="label"),
    Column(heading="file"),
    Column(heading="point"),
    Column(heading="claim", unit="%", right=True),
    Column(heading="start", unit="UTC"),
    Column(heading="length", unit="h:mm:ss", right=True),
    Column(heading="samples", right=True),
    Column(heading="interval", unit="s", right=True),
)
ALIGNMENT_COLUMNS = (
    Column(heading="label"),
    Column(heading="shift", unit="s", right=True),
    Column(heading="error", unit="s", right=True),
    Column(heading="drift", unit="ppm", right=True),
    Column(heading="by"),
    Column(heading="correlation", right=True),
    Column(heading="settled"),
    Column(heading="note"),
)
RESPONSE_COLUMNS = (
    Column(heading="label"),
    Column(heading="events", right=True),
    Column(heading="lag", unit="s", right=True),
    Column(heading="95 % interval", unit="s", right=True),
    Column(heading="rise", unit="s", right=True),
    Column(heading="rise of the reference", unit="s", right=True),
    Column(heading="smoothing", unit="s", right=True),
)
AGREEMENT_COLUMNS = (
    Column(heading="label"),
    Column(heading="bias", unit="W", right=True),
    Column(heading="limits of agreement", unit="W", right=True),
    Column(heading="slope", right=True),
    Column(heading="intercept", unit="W", right=True),
    Column(heading="noise", unit="W", right=True),
)
VERDICTS = (
    ("within", "claims and drivetrain loss can explain the difference"),
    ("outside", "they cannot, wherever in its interval the difference lies"),
    ("unsettled", "the interval straddles the allowance's edge or is too wide to tell"),
)


def static_report(report: Mapping[str, Any]) -> str:
    """One self-contained page from the report's JSON form."""
    title = report["title"] or "Comparison of recordings"
    body = [
        f"<h1>{escape(title)}</h1>",
        f'<p class="headline">{escape(report["headline"])}</p>',
        _paragraphs([report.get("second_sentence") or ""]),
        _list("Warnings", report.get("warnings", [])),
        _section("Findings", _paragraphs(_finding(f) for f in report["findings"])),
        _section(
            "Deltas",
            f"<p>Device minus reference ({escape(report['reference'])}), in percent of the reference's mean.</p>",
            _table("By kind of block", SUMMARY_COLUMNS, tables.summary_rows(report)),
            _table("By block", BLOCK_COLUMNS, tables.block_rows(report)),
            _paragraphs(f"{word}: {meaning}." for word, meaning in VERDICTS),
        ),
        _section("Response", _table("How late, how quick", RESPONSE_COLUMNS, map(_response, report["response"]))),
        _section("Agreement", _table("Over all seconds", AGREEMENT_COLUMNS, map(_agreement, report["agreement"]))),
        _section("Recordings", _table("As recorded", RECORDING_COLUMNS, map(_recording, report["recordings"]))),
        _list("", [f"{r['label']}: {w}" for r in report["recordings"] for w in r.get("warnings", [])]),
        _section("Clocks", _table("Onto the reference's clock", ALIGNMENT_COLUMNS, map(_clock, report["alignment"]))),
        _list("Cautions", [caution["text"] for caution in report.get("cautions", [])]),
        f"<footer>{escape(report['schema'])}, analysis {escape(str(report['version']))}</footer>",
    ]
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="robots" content="noindex">\n'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n"
        + "\n".join(part for part in body if part)
        + "\n</body>\n</html>\n"
    )


def _section(heading: str, *parts: str) -> str:
    content = "\n".join(part for part in parts if part)
    return f"<section><h2>{escape(heading)}</h2>\n{content}</section>" if content else ""


def _paragraphs(texts: Iterable[str]) -> str:
    return "\n".join(f"<p>{escape(text)}</p>" for text in texts if text)


def _list(heading: str, texts: Sequence[str]) -> str:
    items = "\n".join(f"<li>{escape(text)}</li>" for text in texts)
    head = f"<h2>{escape(heading)}</h2>\n" if heading else ""
    return f"{head}<ul>\n{items}\n</ul>" if items else ""


def _table(caption: str, columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> str:
    def cell(tag: str, column: Column, inner: str) -> str:
        scope = ' scope="col"' if tag == "th" else ""
        right = ' class="right"' if column.right else ""
        return f"<{tag}{scope}{right}>{inner}</{tag}>"

    lines = ["".join(cell("td", c, _shown(v, c)) for c, v in zip(columns, row, strict=True)) for row in rows]
    if not lines:
        return ""
    units = (f"<small>{escape(c.unit)}</small>" if c.unit else "" for c in columns)
    head = "".join(cell("th", c, escape(c.heading) + unit) for c, unit in zip(columns, units, strict=True))
    body = "\n".join(f"<tr>{line}</tr>" for line in lines)
    return (
        f'<div class="wide"><table><caption>{escape(caption)}</caption>\n'
        f"<thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody></table></div>"
    )


def _shown(value: str, column: Column) -> str:
    """Escaped; figures get the true minus sign that a terminal may lack."""
    return escape(value.replace("-", "−") if column.right and value != NOTHING else value)


def _finding(finding: Mapping[str, Any]) -> str:
    evidence = " ".join(finding.get("evidence") or ())
    return f"{finding['text']} ({finding['strength']}) {evidence}".strip()


def _recording(r: Mapping[str, Any]) -> tuple[str, ...]:
    start = (r["start_utc"] or NOTHING).replace("T", " ").removesuffix("Z")
    point, claim = r["point"] or "not said", plain(r["claim_pct"])
    length, interval = tables.clock(r["duration_s"]), plain(r["interval_s"], digits=2)
    return r["label"], r["file"], point, claim, start, length, str(r["samples"]), interval


def _clock(a: Mapping[str, Any]) -> tuple[str, ...]:
    numbers = signed(a["shift_s"], digits=2), plain(a["shift_se_s"], digits=3), signed(a["drift_ppm"])
    settled = "yes" if a["settled"] else "no"
    return a["label"], *numbers, a["via"], plain(a["correlation"], digits=3), settled, a.get("note") or ""


def _response(r: Mapping[str, Any]) -> tuple[str, ...]:
    lag = signed(r["lag_s"], digits=2), span(r["lag_ci_s"], digits=2)
    rises = plain(r["rise_s"], digits=2), plain(r["reference_rise_s"], digits=2), plain(r["smoothing_s"], digits=2)
    return r["label"], str(r["events"]), *lag, *rises


def _agreement(a: Mapping[str, Any]) -> tuple[str, ...]:
    fit = plain(a["slope"], digits=3), signed(a["intercept_w"]), plain(a["noise_w"])
    return a["label"], signed(a["bias_w"]), span(a["limits_w"]), *fit
