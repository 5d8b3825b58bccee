"""Every table as CSV. Referee: Python's own csv reader, and the result's JSON."""

from __future__ import annotations

import csv
import io
import zipfile

import pytest
from open_trials import boathouse

from app import table_files


@pytest.fixture(scope="module")
def report():
    return boathouse().report


def read(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_every_table_of_the_result_is_there_with_all_its_rows(report):
    files = {name: read(text) for name, text in table_files.csv_files(report).items()}
    assert {"deltas", "kinds", "levels", "response", "agreement", "findings", "clocks"} <= files.keys()
    assert len(files["levels"]) == len(report["levels"])
    assert len(files["findings"]) == len(report["findings"])
    assert len(files["response-peaks"]) == sum(len(r["peaks"]) for r in report["response"])
    assert len(files["curves"]) == sum(len(c["x"]) for c in report["curves"])
    assert {row["label"] for row in files["response-peaks"]} == {r["label"] for r in report["response"]}


def test_figures_stay_figures_to_the_last_digit(report):
    rows = read(table_files.csv_files(report)["levels"])
    for row, level in zip(rows, report["levels"], strict=True):
        assert float(row["delta_pct"]) == level["delta_pct"]
        low, high = level["delta_pct_ci"]
        assert (float(row["delta_pct_ci_low"]), float(row["delta_pct_ci_high"])) == (low, high)
        assert row["block_ids"] == "; ".join(level["block_ids"])


@pytest.mark.parametrize("label", ["=1+1", "+cmd", "-2+3", "@sum(a1)", "\t=1", "  =1"])
def test_no_label_can_run_in_a_spreadsheet(report, label):
    levels = [{**level, "label": label} for level in report["levels"]]
    for text in table_files.csv_files({**report, "levels": levels}).values():
        cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
        assert not [c for c in cells if c.lstrip(" ")[:1] in "=+-@\t" and c and not _is_number(c)]


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def test_the_archive_holds_them_and_is_the_same_every_time(report):
    data = table_files.zipped(report)
    assert data == table_files.zipped(report)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.testzip() is None
        names = archive.namelist()
        assert names[0] == "deltas.csv"
        assert read(archive.read("kinds.csv").decode())[0]["label"] == report["summary"][0]["label"]


def test_the_delta_table_says_which_blocks_were_edited_or_excluded(report):
    blocks = [{**b, "edited": i == 0, "excluded_reason": "=rain" if i == 1 else None} for i, b in enumerate(report["blocks"])]
    rows = read(table_files.csv_files({**report, "blocks": blocks})["deltas"])
    marks = {row["block"]: (row["edited"], row["excluded"], row["excluded_reason"]) for row in rows}
    assert marks[blocks[0]["id"]] == ("yes", "no", "")
    assert marks[blocks[1]["id"]] == ("no", "yes", "'=rain")
    assert marks[blocks[2]["id"]] == ("no", "no", "")
