"""The page's components as plain HTML, charts as boxes that the file's own script fills."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import html
from dash.development.base_component import Component

from app.views.frozen import Markup


def standing(node: Any) -> Any:
    """The same tree with dash's own components gone: stores left out, graphs and boxes for pictures named.

    Raises
    ------
    TypeError
        A component of dash that a page without a server has no answer for.
    """
    if isinstance(node, (list, tuple)):
        return [standing(one) for one in node]
    if not isinstance(node, Component):
        return node
    told = node.to_plotly_json()
    if told["namespace"] == "dash_core_components":
        return _core(told["type"], told["props"])
    props = dict(told["props"])
    inner = Markup(props.pop("data-html")) if "data-html" in props else standing(props.pop("children", None))
    props.pop("children", None)
    if isinstance(props.get("id"), Mapping):
        props["data-picture"] = picture_name(props.pop("id"))
    return type(node)(inner, **props)


def picture_name(box: Mapping[str, str]) -> str:
    """`evidence:bests` for the box {"type": "evidence", "index": "bests"}."""
    return f"{box['type']}:{box['index']}"


def pictures_in(node: Any) -> list[str]:
    """Names of all pictures of a standing tree, in order."""
    if isinstance(node, (list, tuple)):
        return [name for one in node for name in pictures_in(one)]
    if not isinstance(node, Component):
        return []
    own = getattr(node, "data-picture", None)
    return ([own] if own else []) + pictures_in(getattr(node, "children", None))


def _core(kind: str, props: Mapping[str, Any]) -> Any:
    if kind == "Store":
        return None
    if kind != "Graph":
        raise TypeError(f"A report without a server has no answer for dcc.{kind}.")
    name = props["id"]
    return html.Div(html.Div(**{"data-picture": name, "style": props.get("style") or {}}), id=name, className="dash-graph")


