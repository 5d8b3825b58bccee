"""Rides that carry next to nothing still give a result, and say little: no traceback, no number that is not one."""

import json

import numpy as np
import pytest

from analysis.pipeline import compare
from made import recording

SECONDS = np.arange(900)
ODD = {
    "a hundred seconds with one sprint": np.where((SECONDS > 40) & (SECONDS < 50), 600.0, 30.0)[:100],
    "coasting nearly throughout": np.where(SECONDS % 100 < 20, 150.0, 0.0)[:400],
    "five watts": np.full(200, 5.0),
    "one level": np.full(400, 200.0),
    "waves without a hold": 150 + 140 * np.sin(SECONDS[:700] / 7),
}


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("channels", [(), ("cadence_rpm", "left_share_frac", "speed_mps", "temperature_degc")])
def test_odd_ride_gives_a_result(name, channels):
    rng, power = np.random.default_rng(1), ODD[name]
    t = 1.7e9 + np.arange(float(power.size))
    holes = np.where(SECONDS[: power.size] % 7 == 0, np.nan, 1.0)
    full = {"cadence_rpm": 80 * holes, "left_share_frac": 0.48 * holes, "speed_mps": SECONDS[: power.size] / 90,
            "temperature_degc": 20 * holes}  # fmt: skip
    more = {c: full[c] for c in channels}
    pair = [
        recording({"time_s": t + i * 0.3, "power_w": np.clip(power + rng.normal(0, 3, power.size), 0, None).round(), **more}, one)
        for i, one in enumerate("ab")
    ]
    tree = compare(pair).to_dict()
    json.dumps(tree, allow_nan=False)
    assert tree["headline"].endswith(".")
    assert {h["label"] for h in tree["hypotheses"]} == {"b"}
