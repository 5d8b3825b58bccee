"""What the file holds beside its pictures: the samples and the few facts from which it makes the interval card."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from analysis.archive import OpenTrial
from analysis.figures.block_strip import LETTERS
from analysis.figures.thinning import running_difference_pct
from analysis.judging import allowance_of, standing_reason
from analysis.trial import AlignedRecording, Trial
from app.views.block_marks import block_lines, stretch_of
from app.views.frozen import html_text
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
        "devices": [_device(trial, device.label) for device in trial.devices],
        "blocks": [_block(block, blocks) for block in blocks],
    }


def _device(trial: Trial, label: str) -> dict[str, Any]:
    allowance = allowance_of(trial, label)
    return {
        "label": label,
        "allowance_pct": list(allowance.worst_pct),
        "likely_allowance_pct": list(allowance.likely_pct),
        "no_verdict": standing_reason(trial, label, trial.reference),
    }


def packed(values: Any) -> dict[str, str]:
    """Numbers as base64 of little-endian floats: 32 bits where they hold every value exactly, else 64."""
    exact = np.asarray(values, "<f8")
    short = exact.astype("<f4")
    fits = np.array_equal(short.astype("<f8"), exact, equal_nan=True)
    return {"f4" if fits else "f8": base64.b64encode((short if fits else exact).tobytes()).decode()}


def _recording(trial: Trial, recording: AlignedRecording) -> dict[str, Any]:
    power_w = recording.channels.get("power_w", np.full(recording.time_s.size, np.nan))
    told = {
        "label": recording.label,
        "interval_s": recording.interval_s,
        "time_s": packed(recording.time_s),
        "power_w": packed(power_w),
    }
    if recording.label != trial.reference:
        difference = running_difference_pct(trial.per_second(recording.label), trial.per_second(trial.reference))
        told["difference_pct"] = packed(difference.astype(np.float32))  # for the strip only
    return told


def _block(block: Mapping[str, Any], blocks: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    selects = stretch_of(block)
    return {
        "spans": [block["start_s"], block["end_s"]],
        "selects": list(selects),
        "letter": block.get("letter") or LETTERS.get(block["kind"], ""),
        "edited": bool(block.get("edited")),
        "excluded": block.get("excluded_reason") is not None,
        "about": html_text(block_lines(blocks, selects)),
    }
