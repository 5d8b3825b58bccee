"""How far the headline's deltas hang on where blocks were trimmed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from analysis.sensitivity import TRIM_CHANGE_S
from app.wording import signed, with_unit

CHANGE = with_unit(f"{TRIM_CHANGE_S:.0f}", "s")


def sensitivity_line(report: Mapping[str, Any], labels: Sequence[str]) -> html.P | None:
    """One sentence per device with held power; None where nothing was held."""
    found = {entry["label"]: entry for entry in report.get("sensitivity") or () if entry["delta_pct"] is not None}
    told = [_range(found[label]) for label in labels if label in found]
    if not told:
        return None
    flips = [label for label in labels if label in found and found[label]["flips"]]
    end = "No verdict changes with it."
    if flips:
        end = f"The verdict on {' and '.join(flips)} changes with it and is therefore unsettled."
    return html.P(
        f"With every block trimmed {CHANGE} more or less, the difference over held power runs {'; '.join(told)}. {end}",
        className="held-against sensitivity",
    )


def _range(entry: Mapping[str, Any]) -> str:
    low, high = signed(entry["low_pct"]), signed(entry["high_pct"])
    stays = f"stays at {with_unit(low, '%')}" if low == high else f"from {low} to {with_unit(high, '%')}"
    return f"for {entry['label']} {stays}"
