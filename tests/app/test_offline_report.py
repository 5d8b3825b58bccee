"""The report in one file, as text. Referee: Python's HTML parser, and the content policy that the file gives itself."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from html.parser import HTMLParser

import numpy as np
import pytest
from open_trials import boathouse, with_names

from app.offline import offline_report
from app.offline.packing import NOTHING, packed

NASTY = '"><script>alert(1)</script><img src=x onerror=alert(2)>'


class Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.seen: list[tuple[str, dict]] = []
        self.texts: list[str] = []
        self.inside = ""

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        self.inside = tag

    def handle_endtag(self, tag):
        self.inside = ""

    def handle_data(self, data):
        if self.inside not in ("script", "style"):
            self.texts.append(data)


def parsed(text: str) -> Tags:
    page = Tags()
    page.feed(text)
    return page


@pytest.fixture(scope="module")
def found():
    return boathouse()


@pytest.fixture(scope="module")
def text(found):
    return offline_report(found)


def test_it_holds_headline_tables_pictures_and_cautions(found, text):
    report, page = found.report, parsed(text)
    told = " ".join(page.texts)
    assert report["headline"].split()[-1] in told
    assert all(finding["text"][1:40] in told.replace("\u00a0", " ") for finding in report["findings"])
    assert all(caution["text"] in told for caution in report["cautions"])
    rows = [attributes for tag, attributes in page.seen if tag == "tr" and "data-block" in attributes]
    assert [row["data-block"] for row in rows] == [block["id"] for block in report["blocks"]]
    held = json.loads(re.search(r'id="report-data">(.*?)</script>', text, re.S)[1])
    boxes = [attributes["data-picture"] for _, attributes in page.seen if "data-picture" in attributes]
    assert len(boxes) >= 8
    assert {"overlay", "held-against"} <= set(boxes)
    assert set(held["pictures"]) == set(boxes) - {"overlay"}  # that one is drawn from the samples
    assert all(picture["light"]["data"] for picture in held["pictures"].values())
    assert all(recording["channels"]["power"] for recording in held["trial"]["recordings"])


def test_it_asks_for_nothing_from_outside(text):
    page = parsed(text)
    for tag, attributes in page.seen:
        assert "src" not in attributes, tag
        assert tag not in ("link", "iframe", "img", "object")
        assert not (tag == "a" and not attributes.get("href", "#").startswith("#")), attributes
        assert not [name for name in attributes if name.startswith("on")], attributes
    style = re.search(r"<style>(.*?)</style>", text, re.S)[1]
    assert "url(" not in style
    assert "@import" not in style


def test_its_own_policy_lets_only_its_own_scripts_run(text):
    policy = next(a["content"] for _, a in parsed(text).seen if a.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'; script-src 'sha256-")
    assert "unsafe-eval" not in policy
    assert "'unsafe-inline'" not in policy.split("style-src")[0]
    scripts = re.findall(r"<script>(.*?)</script>", text, re.S)
    assert len(scripts) > 5
    for script in scripts:
        assert f"'sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}'" in policy


def test_markup_in_any_name_shows_as_text():
    nasty = offline_report(boathouse(with_names(NASTY, NASTY, "spider <b>", "pedals & co")))
    clean = parsed(offline_report(boathouse()))
    page = parsed(nasty)
    count = [[tag for tag, _ in one.seen].count("script") for one in (page, clean)]
    assert count[0] == count[1]
    assert not [tag for tag, _ in page.seen if tag in ("img", "b")]
    assert sum(NASTY in text for text in page.texts) >= 8


def test_it_is_the_same_file_every_time(found, text):
    assert offline_report(found) == text


@pytest.mark.parametrize(
    "values",
    [[1.0, np.nan, 254.0], [255.0, 3.0], [np.nan], [], [0.1, 0.25, 300.7, np.nan], [-32768.0, 5.0], [-12.5, 40.0], [1 / 3, 2.0],
     [1e9, 1e9 + 0.001], [0.5, 16777217.0]],
)  # fmt: skip
def test_packed_numbers_come_back_exactly(values):
    """Referee: numpy's own reading of the same bytes, by the rule that the page follows."""
    told = packed(values)
    kind = next(name for name in ("u1", "i2", "f4", "f8") if name in told)
    raw = np.frombuffer(base64.b64decode(told[kind]), f"<{kind}").astype(float)
    if kind in NOTHING:
        raw = np.where(raw == NOTHING[kind], np.nan, raw) / told.get("per", 1)
    np.testing.assert_array_equal(raw, np.array(values, float))


def test_it_can_be_sent_by_mail(text):
    assert len(text.encode()) < 3_000_000  # of which the charting library is 1.1


def test_positions_and_serials_were_never_in_it(text):
    assert not re.search(r"position_(lat|long)|latitude|longitude", text.split("</style>")[1].split("<script")[0])
