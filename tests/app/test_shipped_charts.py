"""Every figure that the program can draw uses only kinds of trace that the shipped charting library has.

Referee: the library's own list of what is registered in it, as its first lines and its schema say.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from open_trials import boathouse

from analysis import figures
from analysis.figures import Look, overlay
from analysis.figures.look import CHANNEL_ROWS
from app import drawings
from app.history import ByHand
from app.offline.markup import pictures_in, standing
from app.offline.report import _article

ROOT = Path(__file__).resolve().parents[2]
LIBRARY = (ROOT / "assets" / "05-plotly-basic.min.js").read_text(encoding="utf-8")
SHIPPED = {"scatter", "bar", "pie"}  # plotly.js-basic: https://github.com/plotly/plotly.js/blob/master/dist/README.md

# What else the room calls go.X, add_x or a type: whole figures, shapes, axes, and the room's own helpers.
NO_TRACES = {"figure", "trace", "traces", "annotation", "shape", "shade", "axis", "panel", "rect", "line", "category"}


@pytest.fixture(scope="module")
def found():
    return boathouse()


def kinds(figure) -> set[str]:
    return {trace.type for trace in figure.data}


def test_the_library_is_the_basic_one_and_has_these_kinds():
    assert "plotly.js (basic" in LIBRARY[:400]
    assert all(f'moduleType:"trace",name:"{kind}"' in LIBRARY for kind in SHIPPED)
    assert not [kind for kind in ("heatmap", "box", "histogram", "violin", "scattergl", "scatterpolar", "contour")
                if f'moduleType:"trace",name:"{kind}"' in LIBRARY]  # fmt: skip


def test_every_picture_of_a_trial_in_both_inks(found):
    names = pictures_in(standing(_article(found, ByHand(), ())))
    assert len(names) >= 15
    for name in names:
        for ink in ("light", "dark"):
            assert kinds(drawings.named(found, name, ink)) <= SHIPPED, name
    look = Look(unit="w", rows=tuple(CHANNEL_ROWS), mean_s=10, against=found.trial.labels[1])
    assert kinds(overlay(found.report, found.trial, look=look, view=(600.0, 1200.0))) <= SHIPPED


def test_no_other_kind_is_written_anywhere_in_the_plotly_room():
    """What no trial here happens to draw: every kind that the source names, `go.X`, `add_x` or `"type": "x"`."""
    written = set()
    for file in Path(figures.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "go":
                written.add(node.attr.lower())
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr.startswith("add_"):
                written.add(node.func.attr.removeprefix("add_"))
            if isinstance(node, ast.Dict):
                named = zip((getattr(key, "value", None) for key in node.keys), node.values, strict=True)
                written |= {getattr(value, "value", None) for name, value in named if name == "type"} - {None}
    assert {"scatter", "bar"} <= written
    assert written - NO_TRACES <= SHIPPED
