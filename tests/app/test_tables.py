"""The report as text. Referees: a spreadsheet's rule for formulas, the terminal's width, HTML's rule for markup."""

from __future__ import annotations

import csv
import io

import pretend
import pytest

from analysis.setup import Setup
from app import tables
from app.comparing import printed

NASTY = '=HYPERLINK("http://evil.example","<script>alert(1)</script>")'


@pytest.fixture
def report():
    recordings = [pretend.recording(b"power 200", "hub.line"), pretend.recording(b"power 205", "pedals.line")]
    return pretend.report(recordings, Setup(title="Kiln"), ["c.line was left out."])


@pytest.fixture
def nasty(report):
    """The same with a formula and markup wherever a person or a file can put text."""
    report["title"] = report["headline"] = report["reference"] = report["warnings"][0] = NASTY
    for section in ("recordings", "alignment", "deltas", "summary"):
        for entry in report[section]:
            entry["label"] = NASTY
    report["blocks"][0]["name"] = NASTY
    report["recordings"][0]["file"] = NASTY
    report["recordings"][0]["warnings"] = [NASTY]
    report["findings"] = [{"text": NASTY, "strength": "clear", "evidence": [NASTY], "code": "gain", "label": NASTY}]
    return report


def test_no_cell_of_the_csv_is_a_formula(nasty):
    rows = list(csv.reader(io.StringIO(tables.deltas_csv(nasty))))
    cells = [cell for row in rows[1:] for cell in row if cell]
    assert any(NASTY in cell for cell in cells)
    for cell in cells:
        try:
            float(cell)
        except ValueError:
            assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


def test_the_csv_keeps_full_figures_and_its_shape(report):
    rows = list(csv.DictReader(io.StringIO(tables.deltas_csv(report))))
    assert float(rows[0]["delta_pct"]) == report["deltas"][0]["delta_pct"]
    assert (rows[0]["allowance_pct_low"], rows[0]["allowance_pct_high"]) == ("-8.8", "2.9")
    assert [row["kind"] for row in rows] == ["steady", "steady"]


def test_what_cannot_be_said_is_an_empty_cell_and_a_dash(report):
    for entry in (*report["deltas"], *report["summary"]):
        entry.update(delta_pct=None, delta_pct_ci=None, delta_w_ci=[None, None], mean_w=None, verdict="unsettled")
    (row, _) = csv.DictReader(io.StringIO(tables.deltas_csv(report)))
    assert (row["delta_pct"], row["delta_pct_ci_low"], row["delta_w_ci_high"], row["mean_w"]) == ("", "", "", "")
    assert "None" not in printed(report)


@pytest.mark.parametrize("label", ["p", "pedals", "a very long label that somebody typed with care"])
def test_the_terminal_page_fits_its_width_and_lines_up(report, label):
    for entry in (*report["deltas"], *report["summary"], report["recordings"][1]):
        entry["label"] = label
    report["deltas"].append(report["deltas"][0] | {"delta_pct": -1234.5, "delta_pct_ci": [-9999.9, 8888.8]})
    text = printed(report)
    assert max(map(len, text.splitlines())) <= 100
    assert "Everything agrees." in text
    table = text[text.index("block ") :].splitlines()
    # figures stand right: the unit's last letter is under its heading's and over the figures' last digit
    end = table[1].index("W") + 1
    assert table[2][end - 1].isdigit()
    assert table[2][end : end + 1] == " "


def test_a_sentence_on_stderr_is_not_repeated_in_the_print(report):
    assert "c.line was left out." in printed(report)
    assert "c.line was left out." not in printed(report, without=["c.line was left out."])


@pytest.mark.parametrize(
    ("time_s", "text"), [(0, "0:00:00"), (59.6, "0:01:00"), (-0.2, "0:00:00"), (-61, "-0:01:01"), (36000, "10:00:00")]
)
def test_times_read_as_a_clock(time_s, text):
    assert tables.clock(time_s) == text
