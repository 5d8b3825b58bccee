"""A trial and a report made by hand, so that pictures and pages are tested without the analysis behind them."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.trial import AlignedRecording, Trial

KINDS = [
    ("free", 240),
    ("steady", 480),
    ("transient", 20),
    ("free", 160),
    ("steady", 480),
    ("transient", 20),
    ("idle", 60),
    ("steady", 600),
    ("transient", 20),
    ("free", 120),
    ("gap", 40),
    ("steady", 160),
]
LEVELS_W = {"free": 140.0, "steady": 220.0, "transient": 620.0, "idle": 0.0, "gap": 180.0}
ALLOWANCES = {"pedals": [-2.0, 9.4], "spider": [-2.5, 8.7]}


def trial(duration_s: int = 2400, *, seed: int = 7, devices: tuple[str, ...] = ("pedals", "spider")) -> Trial:
    """Hub as reference; pedals creep upward and are late, every other device reads 3 % above. 1 Hz."""
    rng = np.random.default_rng(seed)
    level = np.concatenate([np.full(n, LEVELS_W[k]) for k, n in KINDS])
    level = np.tile(level, duration_s // level.size + 1)[:duration_s]
    rider = level * (1 + 0.03 * rng.standard_normal(duration_s))
    time_s = np.arange(duration_s, dtype=float)
    hub = np.round(rider)
    recordings = [_recording("hub", "hub", 1.5, time_s, hub)]
    for i, label in enumerate(devices):
        gain = 1 + 0.02 + 0.11 * time_s / duration_s if i == 0 else np.full(duration_s, 1.03)
        power = np.roll(hub, 2 if i == 0 else 0) * gain + rng.normal(0, 3, duration_s)
        power = np.clip(np.round(power), 0, None)
        power[2200:2240] = np.nan
        recordings.append(_recording(label, "pedal" if i == 0 else "spider", 1.0, time_s, power))
    return Trial(recordings=tuple(recordings), loss_pct=(1.0, 5.0), start_utc="2026-01-17T18:05:00+00:00")


def _recording(label: str, point: str, claim_pct: float, time_s: np.ndarray, power_w: np.ndarray) -> AlignedRecording:
    return AlignedRecording(
        label=label, point=point, claim_pct=claim_pct, interval_s=1.0, time_s=time_s, channels={"power_w": power_w}
    )


def blocks() -> list[dict[str, Any]]:
    """Twelve blocks that partition the first 2 400 s."""
    out, at = [], 0.0
    for i, (kind, length) in enumerate(KINDS, start=1):
        edge = 30.0 if kind == "steady" else 0.0
        out.append(
            {
                "id": f"B{i:02d}",
                "start_s": at,
                "end_s": at + length,
                "interior_start_s": at + edge,
                "interior_end_s": at + length,
                "kind": kind,
                "letter": kind[0].upper(),
                "level_w": LEVELS_W[kind],
                "cadence_rpm": 88.0,
                "name": None,
                "edited": False,
            }
        )
        at += length
    return out


def _delta(label: str, reference_w: float, pct: float, verdict: str, **more: Any) -> dict[str, Any]:
    band = ALLOWANCES[label]
    return {
        "label": label,
        "n_s": 400,
        "mean_w": reference_w * (1 + pct / 100),
        "reference_mean_w": reference_w,
        "delta_w": reference_w * pct / 100,
        "delta_w_ci": [reference_w * (pct - 0.6) / 100, reference_w * (pct + 0.6) / 100],
        "delta_pct": pct,
        "delta_pct_ci": [pct - 0.6, pct + 0.6],
        "allowance_pct": band,
        "likely_allowance_pct": [band[0] + 1.2, band[1] - 1.3],
        "verdict": verdict,
        "reason": f"the whole interval lies {verdict} what claims and loss allow",
        **more,
    }


def report() -> dict[str, Any]:
    """Every section of the contract, with something in it."""
    deltas, steady = [], 0
    for block in blocks():
        if block["kind"] in ("gap", "idle"):
            continue
        steady += block["kind"] == "steady"
        pedals = 2.5 + 2.9 * steady if block["kind"] == "steady" else 4.0
        deltas.append(
            _delta("pedals", block["level_w"], pedals, "outside" if pedals > 9.4 else "within", block=block["id"])
        )
        deltas.append(_delta("spider", block["level_w"], 3.0, "within", block=block["id"]))
    deltas[-1] |= {
        "delta_w": None,
        "delta_w_ci": None,
        "delta_pct": None,
        "delta_pct_ci": None,
        "verdict": "unsettled",
        "reason": "too short to judge",
    }
    return {
        "schema": "countercheck/1",
        "version": "0.1.0",
        "title": "Boathouse evening",
        "reference": "hub",
        "headline": "The pedals creep to 12.1 % above the hub; the spider stays within its allowance.",
        "second_sentence": "The pedals also answer sprints 2.0 s later than the hub.",
        "warnings": ["The last 40 s hold no data from pedals and spider."],
        "recordings": [
            {
                "label": label,
                "file": f"{label}.fit",
                "sha256": f"{i}" * 64,
                "format": "fit",
                "point": point,
                "claim_pct": claim,
                "start_utc": "2026-01-17T18:05:00+00:00",
                "duration_s": 2400.0,
                "samples": 2400,
                "interval_s": 1.0,
                "channels": ["power_w", "cadence_rpm", "heart_rate_bpm"],
                "facts": {"product": "Otter 2", "firmware": "3.10"},
                "warnings": ["40 s are missing from 36:40 on."] if i else [],
            }
            for i, (label, point, claim) in enumerate(
                [("hub", "hub", 1.5), ("pedals", "pedal", 1.0), ("spider", "spider", 1.0)]
            )
        ],
        "alignment": [
            {
                "label": "hub",
                "shift_s": 0.0,
                "shift_se_s": 0.0,
                "drift_ppm": 0.0,
                "via": "clock",
                "correlation": 1.0,
                "settled": True,
            },
            {
                "label": "pedals",
                "shift_s": -37.42,
                "shift_se_s": 0.11,
                "drift_ppm": 12.0,
                "via": "heart_rate",
                "correlation": 0.98,
                "settled": True,
            },
            {
                "label": "spider",
                "shift_s": 4.0,
                "shift_se_s": 0.4,
                "drift_ppm": None,
                "via": "power",
                "correlation": 0.91,
                "settled": False,
                "note": "Two shifts fit almost equally well.",
                "candidates": [4.0, 64.0],
            },
        ],
        "blocks": blocks(),
        "deltas": deltas,
        "summary": [
            _delta("pedals", 220.0, 9.9, "outside", kind="steady", blocks=4),
            _delta("pedals", 150.0, 6.0, "within", kind="all", blocks=9),
            _delta("spider", 220.0, 3.0, "within", kind="steady", blocks=4),
            _delta("spider", 150.0, 3.0, "within", kind="all", blocks=9),
        ],
        "response": [
            {
                "label": "pedals",
                "events": 3,
                "lag_s": 2.0,
                "lag_ci_s": [1.7, 2.3],
                "rise_s": 3.1,
                "reference_rise_s": 1.4,
                "smoothing_s": 3.0,
                "peaks": [{"duration_s": 1, "delta_pct": -9.0}, {"duration_s": 5, "delta_pct": -4.0}],
            },
            {
                "label": "spider",
                "events": 3,
                "lag_s": None,
                "lag_ci_s": None,
                "rise_s": 1.5,
                "reference_rise_s": 1.4,
                "smoothing_s": None,
                "peaks": [],
            },
        ],
        "agreement": [
            {
                "label": "pedals",
                "bias_w": 17.0,
                "limits_w": [1.0, 33.0],
                "slope": 1.08,
                "intercept_w": 1.0,
                "noise_w": None,
            },
            {
                "label": "spider",
                "bias_w": 6.0,
                "limits_w": [-2.0, 14.0],
                "slope": 1.03,
                "intercept_w": 0.1,
                "noise_w": 2.4,
            },
        ],
        "allowances": [
            {
                "label": label,
                "worst_pct": band,
                "likely_pct": [band[0] + 1.2, band[1] - 1.3],
                "parts": [
                    {"name": "claim of the reference", "low_pct": -1.5, "high_pct": 1.5},
                    {"name": "claim of the device", "low_pct": -1.0, "high_pct": 1.0},
                    {"name": "chain between the measuring points", "low_pct": 1.0, "high_pct": 5.3},
                ],
            }
            for label, band in ALLOWANCES.items()
        ],
        "findings": [
            {
                "code": "drift",
                "label": "pedals",
                "size": 9.8,
                "unit": "%/h",
                "ci": [8.0, 11.6],
                "strength": "clear",
                "text": "The pedals rise by 9.8 % an hour.",
                "evidence": ["First held block +5.4 %, last +14.1 %."],
            },
            {
                "code": "lag",
                "label": "pedals",
                "size": 2.0,
                "unit": "s",
                "ci": [1.7, 2.3],
                "strength": "clear",
                "text": "The pedals answer 2.0 s later.",
                "evidence": [],
            },
            {
                "code": "none",
                "label": "spider",
                "size": None,
                "unit": "",
                "ci": None,
                "strength": "clear",
                "text": "Nothing about the spider needs explaining.",
                "evidence": [],
            },
        ],
        "cautions": [
            {"topic": "sprints", "text": "Sprint only where a locked wheel or a slipping chain cannot throw you."}
        ],
    }
