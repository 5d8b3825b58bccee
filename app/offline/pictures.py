"""A picture in both inks as little as it takes: once, where changing its colours one by one gives the other ink.

`assets/offline/50-charts.js` changes them in the same way; where that would not give the very picture, both are held.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from plotly.io import to_json

from analysis.figures import INKS

FADED = re.compile(r"^rgba\((\d+, \d+, \d+), ([\d.]+)\)$")


def held_picture(light: Any, dark: Any) -> dict[str, Any]:
    """`{"light": figure}`, or with `"dark"` beside it where that is more than other colours."""
    one, other = (json.loads(to_json(figure, validate=False)) for figure in (light, dark))
    return {"light": one} if _changed(one) == other else {"light": one, "dark": other}


def colour_changes() -> dict[str, str]:
    """Every light colour with the dark one in its place: `#rrggbb`, the band, and `r, g, b` for what is faded."""
    light, dark = (vars(INKS[ink]) for ink in ("light", "dark"))
    pairs = [(light[name], dark[name]) for name in light if name != "series"]
    pairs += zip(light["series"], dark["series"], strict=True)
    faded = [(_parts(a), _parts(b)) for a, b in pairs if a.startswith("#")]
    return dict(pairs + faded)


def _parts(colour: str) -> str:
    return ", ".join(str(int(colour[i : i + 2], 16)) for i in (1, 3, 5))


def _changed(node: Any, changes: Mapping[str, str] | None = None) -> Any:
    changes = changes or colour_changes()
    if isinstance(node, dict):
        return {name: _changed(value, changes) for name, value in node.items()}
    if isinstance(node, list):
        return [_changed(value, changes) for value in node]
    if not isinstance(node, str):
        return node
    if node in changes:
        return changes[node]
    faded = FADED.match(node)
    return f"rgba({changes.get(faded[1], faded[1])}, {faded[2]})" if faded else node
