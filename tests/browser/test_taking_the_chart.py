"""The chart as a file. Referees: the PNG header and pixels as a browser's own decoder gives them, an XML parser for the SVG."""

from __future__ import annotations

import base64
import struct
import xml.etree.ElementTree as ET

import pytest
from offline_pages import alone
from open_trials import boathouse, with_names

EVIL = '<b>hub</b> & "co"'
PIXELS = """async (data) => {
  const image = new Image();
  image.src = "data:image/png;base64," + data;
  await image.decode();
  const canvas = document.createElement("canvas");
  canvas.width = image.width; canvas.height = image.height;
  const context = canvas.getContext("2d");
  context.drawImage(image, 0, 0);
  const all = context.getImageData(0, 0, image.width, image.height).data, colours = new Set();
  for (let i = 0; i < all.length; i += 4 * 7) colours.add(all.slice(i, i + 4).join());
  return {corner: Array.from(all.slice(0, 4)), colours: colours.size};
}"""


def taken(page, kind: str) -> bytes:
    page.locator(".take").evaluate("(fold) => { fold.open = true; }")
    with page.expect_download() as download:
        page.click(f"[data-take='{kind}']")
    assert download.value.suggested_filename.startswith("countercheck-boathouse")
    return download.value.path().read_bytes()


def size_of(png: bytes) -> tuple[int, int]:
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">II", png[16:24])


def test_each_png_has_its_size_and_is_no_empty_sheet(open_trial):
    page = open_trial("?from=1200&to=1500")
    once, twice = size_of(taken(page, "png-1")), size_of(taken(page, "png-2"))
    assert once[0] >= 640
    assert twice == (2 * once[0], 2 * once[1])
    video = taken(page, "video")
    assert size_of(video) == (1920, 1080)
    seen = page.evaluate(PIXELS, base64.b64encode(video).decode())
    assert seen["corner"] == [253, 252, 249, 255]  # the page's paper
    assert seen["colours"] > 50


def test_the_clear_one_can_be_laid_over_something(open_trial):
    page = open_trial()
    seen = page.evaluate(PIXELS, base64.b64encode(taken(page, "clear")).decode())
    assert seen["corner"][3] == 0
    assert seen["colours"] > 50


def test_the_dark_page_gives_a_dark_picture(open_trial):
    page = open_trial(color_scheme="dark")
    seen = page.evaluate(PIXELS, base64.b64encode(taken(page, "png-1")).decode())
    assert seen["corner"] == [22, 24, 27, 255]


def test_the_svg_holds_lines_labels_units_and_source(open_trial, site):
    page = open_trial("?from=1200&to=1500")
    text = taken(page, "svg").decode()
    root = ET.fromstring(text)
    said = " ".join("".join(node.itertext()) for node in root.iter() if node.tag.endswith("text"))
    found = site.services.jobs.ask(site.demo.split("/")[-1]).open_trial
    for label in found.trial.labels:
        assert label in said
    units = ("[W]", "[%]", "h:mm:ss")
    for part in ("(reference)", *units, found.report["title"], "Source:", "interval 20:00–25:00", "countercheck"):
        assert part in said, part
    lines = [n for n in root.iter() if "js-line" in (n.get("class") or "")]
    assert len(lines) >= 2 * len(found.trial.labels) - 1
    assert not [n for n in root.iter() if n.tag.endswith("script")]
    assert "http" not in text.replace("http://www.w3.org/", "")


@pytest.mark.parametrize("kind", ["svg", "png-1"])
def test_from_a_report_on_the_disk_too_and_a_label_stays_text(chromium, tmp_path, kind):
    with alone(chromium, tmp_path, boathouse(with_names("Boathouse", EVIL))) as page:
        data = taken(page, kind)
    if kind == "svg":
        texts = {"".join(n.itertext()) for n in ET.fromstring(data.decode()).iter() if n.tag.endswith("text")}
        assert f"{EVIL} (reference)" in texts
    else:
        assert size_of(data)[0] >= 640


def test_the_picture_says_which_time_its_axis_shows(chromium, tmp_path):
    with alone(chromium, tmp_path, boathouse(), query="?axis=clock") as page:
        said = " ".join(ET.fromstring(taken(page, "svg").decode()).itertext())
    assert "clock time in UTC" in said
    assert "time from the start" not in said
