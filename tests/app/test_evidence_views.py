"""What the evidence sections print. Referee: the built-in trial's report, formatted here without the page's own wording."""

from __future__ import annotations

import json
import re
from html import unescape
from pathlib import Path
from types import SimpleNamespace

import pytest

from analysis import pipeline, reading
from analysis.setup import setup_from_toml
from app import evidence, showing
from app.offline.markup import standing
from app.views.agreement import agreement_section
from app.views.dependence import dependence_section, levels_section
from app.views.findings import by_need, findings_section
from app.views.frozen import html_text
from app.views.pedalling import pedalling_section
from app.views.response import response_section
from app.wording import size_digits, span_or_short

BOATHOUSE = Path(__file__).parents[2] / "sample_data" / "boathouse"
NASTY = '"><script>x()</script>'


@pytest.fixture(scope="module")
def report():
    files = [reading.read((BOATHOUSE / f"{n}.fit").read_bytes(), name=f"{n}.fit") for n in ("hub", "spider", "pedals")]
    return json.loads(json.dumps(pipeline.compare(files, setup_from_toml((BOATHOUSE / "setup.toml").read_text())).to_dict()))


@pytest.fixture(scope="module")
def labels(report):
    return tuple(r["label"] for r in report["recordings"])


def told(section) -> str:
    """All HTML of a section, that of its frozen parts too."""
    return html_text(standing(section))


def plain(html: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html)).replace("\u00a0", " ").replace("\u202f", " "))


def shown(value: float, digits: int = 1) -> str:
    text = f"{value:+.{digits}f}"
    return f"{0:.{digits}f}" if float(text) == 0 else text.replace("-", "−")


def between(limits, digits: int = 1) -> str:
    return f"{shown(limits[0], digits)} to {shown(limits[1], digits)}"


def test_every_finding_shows_size_interval_and_both_sides(report, labels):
    text = plain(told(findings_section(5, report, labels)))
    for finding in report["findings"]:
        for sentence in (finding["text"], *finding["evidence"], *finding["against"], finding["settle"]):
            assert plain(sentence) in text
    assert "temperature +0.81 %/°C, 95 % interval +0.73 to +0.89" in text
    assert "lag +1.61 s, 95 % interval +1.59 to +1.63" in text
    assert "clock −7.63 s" in text


def test_the_device_that_needs_explaining_comes_first(report, labels):
    assert labels[1:] == ("spider", "pedals")
    assert by_need(report, labels[1:]) == ["pedals", "spider"]


@pytest.mark.parametrize(
    ("code", "unit", "digits"),
    [
        ("lag", "s", 2),
        ("clock", "s", 2),
        ("temperature", "%/degC", 2),
        ("clock", "ppm", 0),
        ("gain", "%", 1),
        ("dropouts", "s", 0),
    ],
)
def test_a_size_has_the_digits_its_unit_can_carry(code, unit, digits):
    assert size_digits(code, unit) == digits


def test_all_causes_stand_side_by_side_in_a_closed_fold(report, labels):
    html = told(findings_section(5, report, labels))
    assert html.count("<details") == 2
    assert "open" not in re.findall(r"<details[^>]*>", html)[0]
    table = plain(html)
    for cause in report["hypotheses"]:
        if cause["ci"]:
            assert between(cause["ci"], size_digits(cause["code"], cause["unit"])) in table


def test_levels_and_zeros_print_the_report(report, labels):
    text = plain(told(levels_section(4, report, labels)))
    for entry in report["levels"]:
        assert f"{shown(entry['delta_pct'])} {between(entry['delta_pct_ci'])}" in text
    for entry in report["summary"]:
        assert f"{shown(entry['delta_pct_pedalling'])} {between(entry['delta_pct_pedalling_ci'])}" in text
    assert plain(report["zeros_rule"]) in text


def test_curves_sprints_bests_and_limits_print_the_report(report, labels):
    curves = plain(told(dependence_section(6, report, labels)))
    for curve in report["curves"]:
        for delta, low, high, n in zip(curve["delta_pct"], curve["low"], curve["high"], curve["n"], strict=True):
            assert f"{shown(delta)} {between((low, high))} {n}" in curves
    response = plain(told(response_section(7, report, labels)))
    for best in (v for e in report["bests"] for v in e["values"]):
        assert f"{shown(best['delta_pct'])} {between(best['delta_pct_ci'])}" in response
    for peak in (v for e in report["sprints"] for v in e["peaks"]):
        assert f"{shown(peak['delta_pct'])} {between(peak['phase_ci_pct'])} ± {peak['phase_pct']:.1f}" in response
    agreement = plain(told(agreement_section(8, report, labels)))
    for entry in report["agreement"]:
        for limit, interval in zip(entry["limits_w"], entry["limits_ci_w"], strict=True):
            assert f"{shown(limit)} {between(interval)}" in agreement
    for entry in report["noise"]:
        assert plain(entry["note"]) in agreement


def test_pedalling_says_what_must_not_be_compared_and_stays_away_without_data(report, labels):
    text = plain(told(pedalling_section(9, report, labels)))
    assert all(plain(d["not_with"]) in text and plain(d["definition"]) in text for d in report["pedalling"]["definitions"])
    assert pedalling_section(9, {**report, "pedalling": {"values": [], "differences": [], "definitions": []}}, labels) is None
    difference = {
        "label": "pedals", "against": "spider", "quantity": "left share", "unit": "%", "blocks": 4, "delta": 1.26,
        "delta_ci": [0.51, 2.04], "comparable": False, "why": "Halves are not legs.",
    }  # fmt: skip
    text = plain(told(pedalling_section(9, {**report, "pedalling": report["pedalling"] | {"differences": [difference]}}, labels)))
    assert "+1.3 % +0.5 to +2.0 no: Halves are not legs." in text


def test_too_short_a_stretch_has_a_dash_and_the_word():
    assert span_or_short([-900.0, 900.0], "The stretch is too short to judge: its seconds are too few.") == "– too short"
    assert span_or_short([-1.0, 2.0], "The interval reaches across the edge.") == "−1.0 to +2.0"


def test_an_older_report_without_evidence_still_has_its_sections(report, labels):
    bare = {k: report[k] for k in ("recordings", "reference", "blocks", "deltas", "summary", "allowances")}
    bare |= {"findings": [], "response": [], "agreement": []}
    for section in (levels_section, findings_section, dependence_section, response_section, agreement_section):
        assert "<h2" in told(section(4, bare, labels))


def test_what_an_owner_wrote_stays_text(report, labels):
    nasty = json.loads(
        json.dumps(report).replace('"pedals"', json.dumps(NASTY)).replace("Pedals against", f"{json.dumps(NASTY)[1:-1]} against")
    )
    renamed = tuple(NASTY if label == "pedals" else label for label in labels)
    sections = (levels_section, findings_section, dependence_section, response_section, agreement_section, pedalling_section)
    for section in sections:
        html = told(section(4, nasty, renamed))
        assert "<script" not in html
        assert "&lt;script&gt;" in html


@pytest.mark.parametrize(
    "name", [None, 7, "bests", {}, {"index": 3}, {"index": "curves:0"}, {"index": "curves:9"}, {"index": "x:1"}]
)
def test_an_id_of_no_picture_gets_none(monkeypatch, report, labels, name):
    found = SimpleNamespace(report=report, trial=SimpleNamespace(labels=labels))
    monkeypatch.setattr(showing, "open_trial", lambda _: found)
    assert evidence.picture("any", name, "light") is None
    assert evidence.picture("any", {"index": "curves:1"}, "light") is not None
