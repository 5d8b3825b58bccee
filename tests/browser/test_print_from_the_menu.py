"""The served page printed by the browser's own menu, which waits for nothing: paper says what is missing and how to have it all.

Referee: poppler's reading of the PDF that Chromium makes.
"""

from __future__ import annotations

import shutil
import subprocess

import pytest
from driving import eventually

pytestmark = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")


def paper(page, folder) -> str:
    page.pdf(path=folder / "page.pdf", prefer_css_page_size=True)
    text = subprocess.run(["pdftotext", "-layout", folder / "page.pdf", "-"], capture_output=True, text=True, check=True).stdout
    return " ".join(text.split())


def test_what_was_not_loaded_is_named_on_paper_and_nowhere_else(open_trial, tmp_path):
    page = open_trial()
    waiting = page.evaluate("countercheck.missing().map((box) => box.dataset.index)")
    assert "recordings" in waiting
    said = paper(page, tmp_path)
    assert "had not been scrolled to" in said
    assert "Recordings" in said.split("had not been scrolled to")[1][:400]
    assert "Not loaded when this was printed." in said
    assert "Print or save as PDF" in said
    assert page.locator(".not-printed").count() == 0
    # it was asked for by then: the second print is whole
    eventually(page, "countercheck.missing().length", 0, timeout_ms=30_000)
    again = paper(page, tmp_path)
    assert "had not been scrolled to" not in again
    assert "SHA-256" in again


def test_the_pages_own_button_waits_for_all_of_it(open_trial, tmp_path):
    page = open_trial()
    page.evaluate("window.print = () => { window.printed = countercheck.missing().length; }")
    page.click("[data-print]")
    eventually(page, "window.printed", 0, timeout_ms=30_000)
    assert "had not been scrolled to" not in paper(page, tmp_path)
