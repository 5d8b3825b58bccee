"""A hundred trials pooled and drawn, against the peer's pooling alone. `pytest tests/bench -m bench -s` prints it.

Floor of issue 9: under two seconds. Peer: statsmodels' combine_effects, once for all trials and once without each.
"""

from __future__ import annotations

import time

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from analysis.dossier.document import TrialEntry
from analysis.dossier.standing import stand_of
from analysis.figures import forest_picture

pytestmark = pytest.mark.bench
TRIALS, FLOOR_S = 100, 2.0
RIDDEN = {"power_w": [100, 300], "cadence_rpm": [60, 100], "torque_nm": [10, 40], "temperature_degc": None, "sprints": 4,
          "holds": 8, "levels": 4, "repeated_levels": 4, "positions": []}  # fmt: skip


def entries() -> list[TrialEntry]:
    made = []
    for i, delta in enumerate(np.random.default_rng(3).normal(2, 1, TRIALS)):
        row = {"delta_pct": delta, "delta_pct_ci": [delta - 0.4, delta + 0.4], "allowance_pct": [-3.0, 7.0], "blocks": 8,
               "verdict": "within"}  # fmt: skip
        digest = {
            "firmware": "1.0", "start_utc": None, "devices": 3, "ridden": RIDDEN,
            "summary": [{**row, "kind": kind} for kind in ("steady", "transient", "free", "all")],
            "levels": [{**row, "level_w": w} for w in (120.0, 180.0, 240.0)],
        }  # fmt: skip
        made.append(TrialEntry(key=str(i), name=f"trial {i}", label="pedals", digest=digest, day=f"2026-01-{i % 28 + 1:02d}"))
    return made


def test_a_hundred_trials_are_pooled_and_drawn_within_two_seconds():
    trials = entries()
    began = time.perf_counter()
    stand = stand_of(trials)
    forest_picture(stand.standings[0]).to_json()
    ours = time.perf_counter() - began
    values = np.array([d.delta_pct for d in stand.standings[0].across.trials])
    own = np.array([d.se_pct for d in stand.standings[0].across.trials]) ** 2
    began = time.perf_counter()
    for _ in stand.standings:
        for i in range(-1, TRIALS):
            kept = np.arange(TRIALS) != i
            combine_effects(values[kept], own[kept], method_re="iterated")
    peer = time.perf_counter() - began
    print(f"\n{TRIALS} trials, {ours:.2f} s; peer's pooling {peer:.2f} s; ratio {ours / peer:.2f}")
    assert ours < FLOOR_S
