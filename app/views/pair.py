"""What is said above a table that shows another pair than device and reference."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import html


def pair_notice(report: Mapping[str, Any], reference: str | None) -> html.Div | None:
    """None where the tables hold everybody against the trial's reference, as headline and findings do."""
    shown, other = report.get("shown"), report["reference"]
    if reference is None or (shown is None and other == reference):
        return None
    who = " and ".join(shown) if shown and len(shown) < 3 else "All others"
    if other == reference:
        words = f"Only {who} is shown here; the page has more devices."
    else:
        words = (
            f"{who} against {other}: a look at another pair. Headline and findings are against {reference}, the trial's "
            "reference, and do not change with it."
        )
    back = html.Button("Show all against the reference", type="button", className="quiet", **{"data-pair-back": ""})
    return html.Div([html.P(words), back], className="notice pair-notice", role="note")
