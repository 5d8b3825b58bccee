"""What the file's own script needs to draw the overlay as `analysis/figures/overlay.py` does: every size, width and colour.

Only values; the steps are in `assets/offline/60-points.js` to `64-overlay.js`, held against the analysis by a test.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from analysis.archive import OpenTrial
from analysis.figures import CHANNEL_ROWS, MARGIN_PX, Look, Theme, rows_recorded
from analysis.figures.block_strip import HATCHING, LETTER_PX, LETTERS
from analysis.figures.ink import blank_figure, ink_of, line_style, plain_axis
from analysis.figures.naming import ROW_LETTERS
from analysis.figures.overlay import (
    BLOCKS_PX,
    CHANNEL_PX,
    GAP_PX,
    LOW_STRIP_PX,
    MIN_VIEW_S,
    POWER_PX,
    ROOMY_STRIPS,
    STRIP_PX,
    UNIT,
)  # fmt: skip
from analysis.figures.rows import PAD_FRAC
from analysis.figures.strips import LEAST_STRIP, MAX_STRIP, WILDEST_FRAC, band_pct
from analysis.figures.thinning import CLOSER_S, MAX_POINTS, MIN_COVER_FRAC, MIN_REFERENCE_W, NICE_STEPS_S, RUNNING_S
from analysis.trial import Trial

INKS: tuple[Theme, ...] = get_args(Theme)


def drawing_data(found: OpenTrial) -> dict[str, Any]:
    """JSON: `sizes`, `points`, `strips`, `rows`, per ink its colours and lines, and the allowances of every pair."""
    report, trial = found.report, found.trial
    return {
        "sizes": {
            "margin": MARGIN_PX, "power": POWER_PX, "strip": STRIP_PX, "low_strip": LOW_STRIP_PX, "roomy": ROOMY_STRIPS,
            "channel": CHANNEL_PX, "blocks": BLOCKS_PX, "gap": GAP_PX, "letter": LETTER_PX,
        },
        "points": {
            "most": MAX_POINTS, "steps_s": NICE_STEPS_S, "running_s": RUNNING_S, "closer_s": CLOSER_S, "least_view_s": MIN_VIEW_S,
            "cover_frac": MIN_COVER_FRAC, "least_w": MIN_REFERENCE_W,
        },
        "strips": {
            "most": MAX_STRIP, "least": LEAST_STRIP, "wildest_frac": WILDEST_FRAC, "unit": UNIT, "pad_frac": PAD_FRAC,
            "letters": ROW_LETTERS,
        },
        "rows": [_row(key, trial) for key in rows_recorded(trial)],
        "inks": {ink: _ink(ink, trial) for ink in INKS},
        "bands": {held: _bands(report, trial, held) for held in trial.labels},
        "start_utc": trial.start_utc,
    }  # fmt: skip


def block_mark(block: Mapping[str, Any]) -> dict[str, Any]:
    """Letter, hatching and whether it is filled, as the block strip shows it."""
    kind = block["kind"]
    return {"letter": block.get("letter") or LETTERS.get(kind, ""), "hatch": HATCHING.get(kind, ""), "filled": kind == "steady"}


def _row(key: str, trial: Trial) -> dict[str, Any]:
    row = CHANNEL_ROWS[key]
    carried = [recording.label for recording in trial.recordings if row.values(recording) is not None]
    return {"key": key, "name": row.name, "unit": row.unit, "digits": row.digits, "carried": carried}


def _ink(ink: Theme, trial: Trial) -> dict[str, Any]:
    lines = [vars(line_style(i, ink)) for i in range(len(trial.labels))]
    plain = {"blank": blank_figure(ink, height_px=POWER_PX, margin_px=MARGIN_PX).layout.to_plotly_json(), "axis": plain_axis(ink)}
    return {**{name: value for name, value in vars(ink_of(ink)).items() if name != "series"}, "lines": lines, **plain}


def _bands(report: Mapping[str, Any], trial: Trial, held: str) -> dict[str, Any]:
    look = Look(against=held)
    return {label: band_pct(report, trial, look, label) for label in look.compared(trial)}
