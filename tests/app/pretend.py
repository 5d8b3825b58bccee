"""A stand-in for the analysis that counts what it is asked, can be held up, and reads files of one line of text.

`power 200` is a sound recording; `silent 200` has no power; anything else is refused, but for FIT files.
"""

from __future__ import annotations

import hashlib
import json
import threading
from dataclasses import dataclass, field
from types import SimpleNamespace

import numpy as np
import pandas as pd

from analysis.errors import NotOneRide, UnreadableFile
from analysis.reading.recording import Recording
from app.engine import Engine


@dataclass
class Counter:
    """What the pretended analysis was asked; `gate` holds every comparison until it is set."""

    reads: list[str] = field(default_factory=list)
    compares: list[tuple[str, ...]] = field(default_factory=list)
    gate: threading.Event = field(default_factory=threading.Event)
    trouble: Exception | None = None

    def __post_init__(self) -> None:
        self.gate.set()

    def engine(self, version: str = "pretended-1") -> Engine:
        return Engine(version=version, read=self.read, compare=self.compare, pack=pack, unpack=unpack)

    def read(self, data: bytes, *, name: str) -> Recording:
        self.reads.append(name)
        return recording(data, name)

    def compare(self, recordings, setup, progress, complaints):
        self.compares.append(tuple(r.name for r in recordings))
        progress("aligning the clocks", 0.25)
        if not self.gate.wait(20):
            raise NotOneRide("The test never opened the gate.")
        if self.trouble is not None:
            raise self.trouble
        return Comparison(report(recordings, setup, complaints))


@dataclass(frozen=True)
class Comparison:
    tree: dict

    def to_dict(self) -> dict:
        return self.tree


def recording(data: bytes, name: str) -> Recording:
    if data[8:12] == b".FIT":
        word, level = "power", "200"
    else:
        word, _, level = data.decode(errors="replace").strip().partition(" ")
    if word not in ("power", "silent") or not level.isdecimal():
        raise UnreadableFile(f"{name} is not a recording that can be read; give the device's own file.")
    seconds = 1_700_000_000.0 + np.arange(120.0)
    samples = pd.DataFrame({"time_s": seconds, "cadence_rpm": np.full(120, 90.0)})
    if word == "power":
        samples["power_w"] = float(level)
    channels = ("cadence_rpm", "power_w") if word == "power" else ("cadence_rpm",)
    sha256 = hashlib.sha256(data).hexdigest()
    facts = {"sensors": [{"type": "bike_power", "firmware": 3.1}]}
    return Recording(name=name, sha256=sha256, format="line", samples=samples, channels=channels, interval_s=1.0, facts=facts)


def kept(store, text: str) -> str:
    """Read a line and keep the recording; its id."""
    return store.put_recording(recording(text.encode(), "kept.line"))


def report(recordings, setup, complaints) -> dict:
    """Every section of the contract, with one steady block over the whole length."""
    first, *others = recordings
    base = float(first.samples["power_w"].mean())
    rows = []
    for other in others:
        mean = float(other.samples["power_w"].mean())
        rows.append(
            {
                "label": other.name, "n_s": 120.0, "mean_w": mean, "reference_mean_w": base, "delta_w": mean - base,
                "delta_w_ci": [mean - base - 1, mean - base + 1], "delta_pct": 100 * (mean / base - 1),
                "delta_pct_ci": [-1.25, 3.5], "allowance_pct": [-8.8, 2.9], "likely_allowance_pct": [-5.1, -0.9],
                "verdict": "within", "reason": "",
            }
        )  # fmt: skip
    return {
        "schema": "countercheck/1", "version": "pretended-1", "title": setup.title or "", "reference": first.name,
        "headline": "Everything agrees.", "second_sentence": "", "warnings": list(complaints), "cautions": [],
        "recordings": [
            {
                "label": r.name, "file": r.name, "sha256": r.sha256, "format": r.format, "point": None,
                "claim_pct": 2.0,
                "start_utc": "2023-11-14T22:13:20Z", "duration_s": 119.0, "samples": 120, "interval_s": 1.0,
                "channels": list(r.channels), "facts": {}, "warnings": [],
            }
            for r in recordings
        ],
        "alignment": [
            {
                "label": r.name, "shift_s": 0.0, "shift_se_s": None, "drift_ppm": 0.0, "via": "clock",
                "correlation": None, "settled": True, "note": "",
            }
            for r in others
        ],
        "blocks": [
            {"id": "B01", "start_s": 0.0, "end_s": 120.0, "kind": "steady", "letter": "S", "level_w": base,
             "cadence_rpm": 90.0, "name": "", "edited": False}
        ],
        "deltas": [{"block": "B01"} | row for row in rows],
        "summary": [{"kind": "steady", "blocks": 1} | row for row in rows],
        "response": [], "agreement": [], "findings": [], "allowances": [],
    }  # fmt: skip


def pack(comparison: Comparison) -> bytes:
    return json.dumps(comparison.tree, sort_keys=True).encode()


def unpack(data: bytes) -> SimpleNamespace:
    return SimpleNamespace(report=json.loads(data), trial=None)
