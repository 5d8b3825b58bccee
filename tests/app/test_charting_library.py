"""The charting library in `assets/` is the one that the figures are made for, and can draw every kind they use."""

from __future__ import annotations

import re

from plotly.offline import get_plotlyjs_version

from app.places import assets_dir

BUNDLE = assets_dir() / "05-plotly-basic.min.js"


def test_it_is_the_version_that_the_figures_are_made_for_and_keeps_its_licence():
    head = BUNDLE.read_text(encoding="utf-8")[:300]
    assert re.search(r"plotly\.js \(basic - minified\) v([\d.]+)", head)[1] == get_plotlyjs_version()
    assert "Licensed under the MIT license" in head
