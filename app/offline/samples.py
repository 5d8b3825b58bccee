"""What the file holds beside its pictures: the samples and the few facts from which it makes overlay and interval card."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from analysis.archive import OpenTrial
from analysis.bests import MIN_COVER
from analysis.consensus import IDLE_W
from analysis.deltas import MIN_REFERENCE_W
from analysis.figures import CHANNEL_ROWS, rows_recorded
from analysis.judging import allowance_of, standing_reason
from analysis.trial import AlignedRecording, Trial
from analysis.watching import MIN_DROPOUT_S
from analysis.within import PEAKS_S
from app.offline.drawing import block_mark, drawing_data
from app.offline.packing import packed
from app.views.block_marks import block_lines, stretch_of
from app.views.frozen import html_text
from app.views.interval import lag_words
from app.views.parts import named


def trial_data(found: OpenTrial) -> dict[str, Any]:
    """JSON for `assets/offline/`: recordings, devices, blocks; names and marks as HTML, escaped."""
    trial, blocks = found.trial, found.report["blocks"]
    return {
        "start_s": trial.start_s,
        "end_s": trial.end_s,
        "reference": trial.reference,
        "named": {label: html_text(named(label, trial.labels)) for label in trial.labels},
        "edges_s": sorted(block["start_s"] for block in blocks),
        "recordings": [_recording(trial, recording) for recording in trial.recordings],
        "devices": [_device(found, device.label) for device in trial.devices],
        "blocks": [_block(block, blocks) for block in blocks],
        "drawing": drawing_data(found),
        "within": {"peaks_s": PEAKS_S, "cover_frac": MIN_COVER, "idle_w": IDLE_W, "dropout_s": MIN_DROPOUT_S,
                   "reference_w": MIN_REFERENCE_W},
    }


def _device(found: OpenTrial, label: str) -> dict[str, Any]:
    trial, allowance = found.trial, allowance_of(found.trial, label)
    response = next((e for e in found.report["response"] if e["label"] == label), None)
    return {
        "label": label,
        "allowance_pct": list(allowance.worst_pct),
        "likely_allowance_pct": list(allowance.likely_pct),
        "no_verdict": standing_reason(trial, label, trial.reference),
        "lag": lag_words(response),
    }


def _recording(trial: Trial, recording: AlignedRecording) -> dict[str, Any]:
    nothing = np.full(recording.time_s.size, np.nan)
    channels = {"power": recording.channels.get("power_w", nothing)}
    if "cadence_rpm" in recording.channels:  # the card tells it as recorded, the row leaves out a sensor that was not there
        channels["cadence"] = recording.channels["cadence_rpm"]
    for key in rows_recorded(trial):
        value = CHANNEL_ROWS[key].values(recording)
        if value is not None:
            channels.setdefault(key, np.round(value, 4))  # for the picture only
    return {
        "label": recording.label,
        "interval_s": recording.interval_s,
        "time_s": packed(recording.time_s),
        "channels": {name: packed(value) for name, value in channels.items()},
    }


def _block(block: Mapping[str, Any], blocks: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    selects = stretch_of(block)
    return {
        "spans": [block["start_s"], block["end_s"]],
        "selects": list(selects),
        "edited": bool(block.get("edited")),
        "excluded": block.get("excluded_reason") is not None,
        "about": html_text(block_lines(blocks, selects)),
        **block_mark(block),
    }
