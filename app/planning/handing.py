"""A kept ride plan handed to the sheet of a new trial, as the text of a set-up file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dash import html

from analysis.designing import plan_toml, ridden
from app import links
from app.planning import access
from app.wording import counted, day_and_time


@dataclass(frozen=True, kw_only=True)
class Handed:
    """What the sheet begins with, and the sentence that says so."""

    setup_text: str
    notice: html.Div


def plan_for_sheet(token: Any) -> Handed | None:
    """The plan at this address with the loss it reckoned with; None where there is none."""
    stored = access.stored_plan(token)
    if stored is None:
        return None
    design = stored.design
    low, high = design.aim.loss_pct
    words = f"The ride plan {design.title} ({counted(len(ridden(design)), 'step')}"
    words += f", frozen {day_and_time(stored.frozen_utc)}) " if stored.frozen_utc else ") "
    notice = html.Div(
        html.P(
            [
                words + "is used: its steps will stand in the sheet. ",
                html.A("Look at it", href=links.plan_path(stored.token)), " or ", html.A("leave it out", href=links.HOME), ".",
            ]
        ),
        className="notice",
        role="note",
    )  # fmt: skip
    return Handed(setup_text=f"[drivetrain]\nloss_pct = [{low!r}, {high!r}]\n\n{plan_toml(design)}", notice=notice)
