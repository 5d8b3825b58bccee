"""Dash components as plain HTML text, inserted by `assets/10-frozen.js` as one node.

Why: dash-renderer walks every component of the page at every change of any; with a long block table as components, one
step of a scrub took some 200 ms in the browser, as text it costs nothing. Only what takes part in no callback is frozen.
"""

from __future__ import annotations

import html as markup
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dash import html
from dash.development.base_component import Component

VOID = frozenset({"br", "hr", "img", "input", "wbr"})
RENAMED = {"className": "class", "htmlFor": "for"}
# Dash's own bookkeeping, of no meaning to a browser.
UNSAID = frozenset({"children", "n_clicks", "n_clicks_timestamp", "key", "disable_n_clicks"})


@dataclass(frozen=True)
class Native:
    """An element that dash's HTML lacks, such as a form's own fields; `attributes` as HTML names them."""

    tag: str
    attributes: Mapping[str, Any]
    children: Any = None


@dataclass(frozen=True)
class Markup:
    """Text that is HTML already, made by `html_text`: taken as it is."""

    text: str


def frozen(*components: Any, **props: Any) -> html.Div:
    """One node that the browser fills with the components' HTML."""
    return html.Div(**{"className": "frozen", **props, "data-html": html_text(list(components))})


def html_text(node: Any) -> str:
    """A component, text, number or list of them as HTML; every text is escaped.

    Raises
    ------
    TypeError
        A component that is more than an HTML element, such as a graph or an input of dash.
    """
    if node is None:
        return ""
    if isinstance(node, (list, tuple)):
        return "".join(map(html_text, node))
    if isinstance(node, Markup):
        return node.text
    if isinstance(node, Native):
        return _element(node.tag, node.attributes, node.children)
    if not isinstance(node, Component):
        return markup.escape(str(node))
    told = node.to_plotly_json()
    if told["namespace"] != "dash_html_components":
        raise TypeError(f"Only HTML elements can be frozen; got {told['namespace']}.{told['type']}.")
    props = {name: value for name, value in told["props"].items() if name not in UNSAID}
    return _element(told["type"].lower(), props, told["props"].get("children"))


def _element(tag: str, props: Mapping[str, Any], children: Any) -> str:
    attributes = "".join(_attribute(name, value) for name, value in props.items())
    return f"<{tag}{attributes}>" if tag in VOID else f"<{tag}{attributes}>{html_text(children)}</{tag}>"


def _attribute(name: str, value: Any) -> str:
    if value is None or value is False:
        return ""
    name = RENAMED.get(name, name if "-" in name else name.lower())
    if value is True:
        return f" {name}"
    if isinstance(value, Mapping):
        value = "; ".join(f"{_kebab(key)}: {one}" for key, one in value.items())
    return f' {name}="{markup.escape(str(value))}"'


def _kebab(key: str) -> str:
    return re.sub(r"[A-Z]", lambda capital: "-" + capital[0].lower(), key)
