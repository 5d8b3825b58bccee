"""Everybody held against another recording than the reference: the delta tables of a trial once more, for a look.

Headline, findings and every picture stay with the reference; percents here are of the other one's mean.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from analysis.blocks import Block
from analysis.pipeline import deltas_between, levels_between, summary_between
from analysis.report import pair_tables
from analysis.trial import Trial

TABLES = ("deltas", "summary", "levels", "allowances")


def tables_against(trial: Trial, blocks: Sequence[Block], other: str) -> dict[str, Any]:
    """`reference`, `deltas`, `summary`, `levels` and `allowances` of the JSON as they are against `other`.

    Raises
    ------
    OutOfRange
        A label that the trial does not have.
    """
    counted = [b for b in blocks if b.excluded_reason is None]
    devices = [label for label in trial.labels if label != other]
    by_device = {label: dict(deltas_between(trial, label, other, blocks)) for label in devices}
    return pair_tables(
        trial, other,
        deltas=[(b.id, by_device[label][b.id]) for b in blocks if b.kind != "gap" for label in devices],
        summary=[entry for label in devices for entry in summary_between(trial, label, other, counted)],
        levels=[level for label in devices for level in levels_between(trial, label, other, counted)],
        excluded={b.id for b in blocks if b.excluded_reason is not None},
    )  # fmt: skip


def only(report: Mapping[str, Any], device: str) -> dict[str, Any]:
    """The report with the tables of one device; `shown` names it."""
    return {**report, **{key: [e for e in report.get(key) or () if e["label"] == device] for key in TABLES}, "shown": [device]}
