"""The report on A4. Referee: poppler's reading of the PDF that Chromium makes."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest
from offline_pages import alone
from open_trials import boathouse

SHEET_PX = 672  # as assets/71-print.js
SVGS = "document.querySelectorAll('main .js-plotly-plot .main-svg')"
WIDTHS = f"[...{SVGS}].map((svg) => svg.getBoundingClientRect().width)"


def test_paper_shows_every_picture_within_its_width_and_no_control(chromium, tmp_path):
    with alone(chromium, tmp_path, boathouse(), color_scheme="dark") as page:
        pictures = page.locator("[data-picture]").count()
        page.emulate_media(media="print")
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        widths = page.evaluate(WIDTHS)
        assert page.locator("[data-picture] .main-svg:first-child").count() >= pictures
        assert widths
        assert max(widths) <= 673
        assert page.locator("button:visible:not(th button, .place)").count() == 0
        assert page.evaluate("getComputedStyle(document.querySelector('thead')).display") == "table-header-group"
        font = page.evaluate("document.querySelector('#overlay .js-plotly-plot').layout.font.color")
        assert font == "#5c6166"  # the light page's ink
        page.evaluate("window.dispatchEvent(new Event('afterprint'))")
        assert max(page.evaluate(WIDTHS)) > 673


def test_nothing_is_wider_than_the_sheet_with_every_fold_open(chromium, tmp_path):
    """A wider thing would make Chromium shrink every sheet."""
    with alone(chromium, tmp_path, boathouse()) as page:
        page.emulate_media(media="print")
        page.add_style_tag(content=f"body {{ width: {SHEET_PX}px !important; }}")
        page.evaluate("document.querySelectorAll('main details').forEach((one) => { one.open = true; })")
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        wide = "[...document.querySelectorAll('main *:not(svg *)')].filter((one) => one.getBoundingClientRect().right > SHEET)"
        wide += ".map((one) => one.tagName + '.' + one.className)"
        found = page.evaluate(wide.replace("SHEET", str(SHEET_PX + 1)))
        assert found == [], found[:6]


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_the_pdf_holds_headline_and_every_caution(chromium, tmp_path):
    found = boathouse()
    with alone(chromium, tmp_path, found) as page:
        page.pdf(path=tmp_path / "report.pdf", prefer_css_page_size=True)
    info = subprocess.run(["pdfinfo", tmp_path / "report.pdf"], capture_output=True, text=True, check=True).stdout
    assert "A4" in info
    assert int(re.search(r"Pages:\s+(\d+)", info)[1]) < 40
    text = subprocess.run(["pdftotext", tmp_path / "report.pdf", "-"], capture_output=True, text=True, check=True).stdout
    said = " ".join(text.split())
    assert " ".join(found.report["headline"].split()[-4:]) in said.replace("\u00a0", " ")
    assert all(" ".join(c["text"].split()[:5]) in said for c in found.report["cautions"])
