"""Rides that carry next to nothing still give a result, and say little: no traceback, no number that is not one."""

import json

import numpy as np
import pytest

from analysis.errors import NotOneRide
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


@pytest.mark.parametrize("reference", ["still", "nearly still"])
def test_a_reference_that_made_no_power_gives_no_percent_and_no_traceback(reference):
    rng, t = np.random.default_rng(3), 1.7e9 + np.arange(900.0)
    none = np.zeros(900) if reference == "still" else np.where(SECONDS % 300 == 150, 1.0, 0.0)
    none[0] = 1.0  # a sensor was there
    made = np.clip(np.repeat([150.0, 220.0, 180.0], 300) + rng.normal(0, 3, 900), 0, None).round()
    tree = compare([recording({"time_s": t, "power_w": none}, "a"), recording({"time_s": t, "power_w": made}, "b")]).to_dict()
    json.dumps(tree, allow_nan=False)
    assert all(s["delta_pct"] is None for s in tree["summary"])
    assert "too little power" in tree["headline"]


def test_hours_apart_an_altitude_that_climbs_with_the_weather_makes_no_one_ride():
    """Both altitudes rise alike from sea level, the powers have nothing in common: two rides, not one with a wrong clock."""
    t, rng = 1.7e9 + np.arange(1200.0), np.random.default_rng(8)
    climb = np.cumsum(np.sin(np.arange(1200) / 40) + np.arange(1200) / 400)
    both = [
        recording({"time_s": t + 3600.0 * i, "power_w": 60.0 + 20 * np.repeat(rng.permutation(12), 100) + rng.normal(0, 5, 1200),
                   "altitude_m": climb + rng.normal(0, 0.05, 1200)}, name)
        for i, name in enumerate("ab")
    ]  # fmt: skip
    with pytest.raises(NotOneRide, match="share no time"):
        compare(both)
