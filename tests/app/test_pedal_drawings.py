"""Crank circles and platforms. Referee: plane geometry, on figures made by hand (no real ride at hand carries these channels)."""

from __future__ import annotations

import math
import re
from html.parser import HTMLParser

import pytest

from analysis.pedalling import arc_deg
from app.offline.markup import standing
from app.views.frozen import html_text
from app.views.pedal_drawings import CIRCLE, MM, PLATFORM_W, RIM, drawings
from app.views.pedalling import pedalling_section

LABELS = ("hub", "pedals", "other")


def value(label, quantity, mean, unit="°", kind="steady", block=None):
    return {"label": label, "quantity": quantity, "unit": unit, "kind": kind, "block": block, "mean": mean, "sd": 2.0, "n": 50}


def told(**more):
    values = [
        value("pedals", "left power phase start", 350.0), value("pedals", "left power phase end", 200.0),
        value("pedals", "left peak power phase start", 60.0), value("pedals", "left peak power phase end", 110.0),
        value("other", "left power phase start", 10.0), value("other", "left power phase end", 190.0),
        value("pedals", "left platform centre offset", 7.0, "mm"), value("pedals", "right platform centre offset", -3.0, "mm"),
    ]  # fmt: skip
    return {"values": values, "differences": [], "definitions": [], **more}


class Shapes(HTMLParser):
    def __init__(self):
        super().__init__()
        self.seen: list[tuple[str, dict]] = []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))


def shapes(pedalling=None):
    parser = Shapes()
    parser.feed("".join(html_text(d) for d in drawings(pedalling or told(), LABELS)))
    return parser.seen


@pytest.mark.parametrize(("start", "end", "arc"), [(350, 200, 210), (10, 190, 180), (60, 110, 50), (0, 0, 0), (190, 10, 180)])
def test_an_arc_runs_as_the_crank_turns_past_the_top_where_it_must(start, end, arc):
    assert arc_deg(start, end) == arc


def test_arcs_begin_and_end_at_their_angles_and_take_the_long_way_only_where_it_is_one():
    arcs = [s["d"] for tag, s in shapes() if tag == "path"]
    assert len(arcs) == 3
    x1, y1, radius, _, _, large, sweep, x2, y2 = (float(n) for n in re.findall(r"-?[\d.]+", arcs[0]))
    middle = CIRCLE / 2
    assert (radius, sweep) == (RIM, 1)
    for x, y, angle in ((x1, y1, 350), (x2, y2, 200)):
        assert math.degrees(math.atan2(x - middle, middle - y)) % 360 == pytest.approx(angle, abs=0.1)
    assert large == 1  # 210 degrees
    assert " 0 0 1 " in arcs[1]  # the peak's 50 degrees


def test_rings_lie_inside_each_other_and_each_has_its_recordings_ink():
    paths = [s for tag, s in shapes() if tag == "path"]
    radii = [float(s["d"].split(" A ")[1].split()[0]) for s in paths]
    assert radii == [RIM, RIM, RIM - 15]
    assert [s["class"] for s in paths] == ["phase series-stroke-1", "peak series-stroke-1", "phase series-stroke-2"]


def test_outwards_is_away_from_the_cranks_on_both_sides():
    marks = [float(s["cx"]) - PLATFORM_W / 2 for tag, s in shapes() if tag == "circle" and "series-fill" in s["class"]]
    assert marks == [pytest.approx(-7.0 * MM), pytest.approx(-3.0 * MM)]  # left, +7: to the left; right, -3: to the left as well


def test_every_drawing_says_in_words_what_it_shows_and_the_table_beside_says_it_again():
    words = [s["aria-label"] for tag, s in shapes() if tag == "svg"]
    assert words[0].startswith("Power phase of the left side: pedals drives from 350° to 200°, most from 60° to 110°; other")
    assert words[1:] == ["Platform centre offset of the left pedal: pedals +7.0\u202fmm",
                         "Platform centre offset of the right pedal: pedals −3.0\u202fmm"]  # fmt: skip
    text = re.sub(r"<[^>]+>", " ", html_text(standing(pedalling_section(9, {"pedalling": told()}, LABELS))))
    assert re.search(r"pedals\s+left\s+350\s+200\s+210\s+60\s+110\s+50", text)
    assert re.search(r"pedals\s+right\s+−3\.0", text)


def test_nothing_is_drawn_of_what_nobody_carries_and_names_stay_text():
    assert drawings(told(values=[value("pedals", "left share", 51.0, "%")]), LABELS) == []
    nasty = '"><script>x()</script>'
    named = told()
    named["values"] = [{**v, "label": nasty if v["label"] == "pedals" else v["label"]} for v in named["values"]]
    html = "".join(html_text(d) for d in drawings(named, ("hub", nasty, "other")))
    assert "<script" not in html
    assert "&lt;script&gt;" in html
