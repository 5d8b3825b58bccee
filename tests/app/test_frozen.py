"""Components as HTML text. Referee: the standard library's HTML parser reads back what went in."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest
from dash import dcc, html

from app.views.frozen import Native, frozen, html_text


class Read(HTMLParser):
    """Start tags with attributes, end tags and texts, in order."""

    def __init__(self, text: str):
        super().__init__()
        self.seen: list = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        self.seen.append(f"/{tag}")

    def handle_data(self, data):
        self.seen.append(data)


def test_elements_and_attributes_arrive_as_the_browser_knows_them():
    cell = html.Th(["a ", html.B("b"), 3], colSpan="2", className="num", tabIndex="0", style={"minWidth": "3px", "left": "4%"})
    assert Read(html_text(cell)).seen == [
        ("th", {"colspan": "2", "class": "num", "tabindex": "0", "style": "min-width: 3px; left: 4%"}),
        "a ", ("b", {}), "b", "/b", "3", "/th",
    ]  # fmt: skip


def test_data_and_aria_attributes_keep_their_names_and_empty_ones_stay_out():
    text = html_text(html.Div(None, **{"data-from": "1.5", "aria-label": "x"}, hidden=False, title=None))
    assert Read(text).seen == [("div", {"data-from": "1.5", "aria-label": "x"}), "/div"]


HOSTILE = '"><script>alert(1)</script>&lt;'


@pytest.mark.parametrize(
    "component",
    [html.P(HOSTILE), html.P("", title=HOSTILE), html.P("", **{"data-x": HOSTILE}), Native("input", {"value": HOSTILE})],
)
def test_no_text_becomes_markup(component):
    seen = Read(html_text(component)).seen
    assert [piece[0] for piece in seen if isinstance(piece, tuple)] == [seen[0][0]]
    texts = "".join(piece for piece in seen if isinstance(piece, str)).removesuffix(f"/{seen[0][0]}")
    assert HOSTILE in (*seen[0][1].values(), texts)


def test_fields_of_a_form():
    select = Native("select", {"id": "p"}, [Native("option", {"value": "", "selected": True}, "none")])
    assert html_text(select) == '<select id="p"><option value="" selected>none</option></select>'
    assert html_text(Native("input", {"checked": False, "type": "radio"})) == '<input type="radio">'


def test_what_a_callback_needs_cannot_be_frozen():
    with pytest.raises(TypeError, match="dash_core_components"):
        html_text(html.Div(dcc.Input(id="x")))


def test_frozen_is_one_component():
    whole = frozen(html.P("a"), html.P("b"))
    assert (whole.to_plotly_json()["props"]["data-html"], getattr(whole, "children", None)) == ("<p>a</p><p>b</p>", None)
