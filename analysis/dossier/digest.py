"""What a dossier keeps of one trial: the part of its result that verdicts, pooling and coverage rest on. No samples, no places.

Reads the result as its JSON says it, gives a plain dict with its own schema, so that a dossier opens without any recording.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from analysis.errors import OutOfRange

SCHEMA = "countercheck-digest/1"
ROW_KEYS = (
    "delta_pct", "delta_pct_ci", "delta_pct_se", "delta_w", "delta_w_ci", "mean_w", "reference_mean_w", "allowance_pct",
    "likely_allowance_pct", "verdict", "n_s", "blocks",
)  # fmt: skip


def digest_of(report: Mapping[str, Any], label: str) -> dict[str, Any]:
    """The digest of one device's part in a trial.

    Raises
    ------
    OutOfRange
        The trial has no device of this label held against its reference; the message names those it has.
    """
    devices = [r for r in report["recordings"] if r["label"] != report["reference"]]
    device = next((r for r in devices if r["label"] == label), None)
    if device is None:
        known = ", ".join(r["label"] for r in devices)
        raise OutOfRange(f"{report['title']} has no device {label!r} that was held against its reference; it has {known}.")
    reference = next(r for r in report["recordings"] if r["label"] == report["reference"])
    return {
        "schema": SCHEMA,
        "version": report["version"],
        "title": report["title"],
        "headline": report["headline"],
        "reference": report["reference"],
        "reference_point": reference["point"],
        "point": device["point"],
        "claim_pct": device["claim_pct"],
        "firmware": device.get("firmware"),
        "recording_sha256": device.get("sha256"),
        "clock": _clock(report, label),
        "start_utc": reference["start_utc"],
        "devices": len(report["recordings"]),
        "loss_pct": report["drivetrain"]["loss_pct"],
        "summary": [_row(s, {"kind": s["kind"]}) for s in report["summary"] if s["label"] == label],
        "levels": [_row(s, {"level_w": s["level_w"]}) for s in report["levels"] if s["label"] == label],
        "findings": [
            {key: f[key] for key in ("code", "size", "unit", "ci", "strength", "text")}
            for f in report["findings"]
            if f["label"] == label
        ],
        "ridden": _ridden(report, label),
        "plan": (report.get("plan") or {}).get("source"),
        "plan_frozen": (report.get("plan") or {}).get("frozen"),
        "frozen": report.get("frozen"),
        "blocks_hash": report.get("blocks_hash"),
        "edited_blocks": sum(bool(b["edited"]) for b in report["blocks"]),
        "excluded_blocks": sum(b.get("excluded_reason") is not None for b in report["blocks"]),
    }


def _clock(report: Mapping[str, Any], label: str) -> dict[str, Any] | None:
    """By which signal the device was put on the reference's clock, and whether only one shift fits."""
    found = next((a for a in report.get("alignment", ()) if a["label"] == label), None)
    return None if found is None else {"via": found["via"], "settled": found["settled"]}


def _row(summary: Mapping[str, Any], head: Mapping[str, Any]) -> dict[str, Any]:
    return {**head, **{key: summary.get(key) for key in ROW_KEYS}}


def _ridden(report: Mapping[str, Any], label: str) -> dict[str, Any]:
    """What the ride varied, as ranges: power, cadence and torque of the holds, temperature, surges, repeated levels."""
    held = [b for b in report["blocks"] if b["kind"] == "steady" and b.get("excluded_reason") is None and b["level_w"]]
    turned = [b for b in held if (b["cadence_rpm"] or 0) > 20]
    torque = [b["level_w"] / (b["cadence_rpm"] * 2 * np.pi / 60) for b in turned]
    curves = [c for c in report["curves"] if c["label"] == label and c["against"] == "temperature" and len(c["x"])]
    names = " ".join(b["name"] for b in report["blocks"]).lower()
    sprints = next((s["sprints"] for s in report["sprints"] if s["label"] == label), 0)
    return {
        "power_w": _range([b["level_w"] for b in held]),
        "cadence_rpm": _range([b["cadence_rpm"] for b in turned]),
        "torque_nm": _range(torque),
        "temperature_degc": _range([x for c in curves for x in c["x"]]),
        "sprints": sprints,
        "holds": len(held),
        "levels": len({b.get("level_group") for b in held}),
        "repeated_levels": sum(s["blocks"] > 1 for s in report["levels"] if s["label"] == label),
        "positions": [p for p in ("seated", "standing") if p in names],
    }


def _range(values: list[float]) -> list[float] | None:
    good = [float(v) for v in values if v is not None and np.isfinite(v)]
    return [min(good), max(good)] if good else None
