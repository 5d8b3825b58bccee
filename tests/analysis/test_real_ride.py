"""A real ride against a copy of itself with a known gain, clock and lag: the copy's faults are recovered.

The recordings come from public repositories under MIT licences (NOTICE.md beside them); skipped where they are absent.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from analysis.errors import NotOneRide
from analysis.pipeline import compare
from analysis.reading import read
from analysis.setup import DeviceSetup, Setup

RIDES = Path(__file__).resolve().parents[3] / "shared" / "rides"
pytestmark = pytest.mark.skipif(not RIDES.is_dir(), reason="the folder with real recordings is not beside the project")

GAIN, AHEAD_S, LAG_S = 1.05, 7.35, 2.0
SETUP = Setup(
    reference="own",
    devices=(DeviceSetup(file="own", label="own", point="hub", claim_pct=1.0),
             DeviceSetup(file="copy", label="copy", point="pedal", claim_pct=1.0)),
    loss_pct=(1.0, 2.0),
)  # fmt: skip


def ride_of(name):
    return read((RIDES / name).read_bytes(), name=name)


def copy_of(own, *, seed=4):
    """Sampled half a second off, with gain, device noise, a clock ahead and power that comes late."""
    rng = np.random.default_rng(seed)
    frame, time = own.samples.copy(), own.samples["time_s"].to_numpy()
    power = frame["power_w"].to_numpy(float)
    known = np.isfinite(power)
    late = np.interp(time - LAG_S, time[known], power[known])
    late[~known] = np.nan
    frame["power_w"] = np.clip(np.round(GAIN * late * (1 + 0.01 * rng.standard_normal(time.size))), 0, None)
    frame["time_s"] = time + AHEAD_S
    return replace(own, name="copy", sha256="1" * 64, samples=frame)


@pytest.mark.parametrize("name", ["ride-01.fit", "ride-02.fit", "ride-03-indoor.fit"])
def test_known_gain_clock_and_lag_are_recovered_from_a_real_ride(name):
    own = replace(ride_of(name), name="own", facts={})
    copy = copy_of(own)
    result = compare([own, copy], SETUP).to_dict()
    alignment = result["alignment"][1]
    assert alignment["settled"]
    assert alignment["via"] != "power"
    assert alignment["shift_s"] == approx(-AHEAD_S, abs=0.1)
    whole = next(s for s in result["summary"] if s["kind"] == "all")
    # a lag moves work across pauses, so the planted ratio is that of the works as made, near 5 %
    both = own.samples["power_w"].notna().to_numpy()
    planted = 100 * (copy.samples["power_w"][both].sum() / own.samples["power_w"][both].sum() - 1)
    assert planted == approx(5.0, abs=0.5)
    assert whole["delta_pct"] == approx(planted, abs=0.1)
    assert whole["delta_pct_ci"][0] <= planted <= whole["delta_pct_ci"][1]
    assert result["response"][0]["lag_s"] == approx(LAG_S, abs=0.3)
    assert "lag" in {f["code"] for f in result["findings"]}


def test_two_different_real_rides_are_refused():
    with pytest.raises(NotOneRide, match=r"ride-01\.fit and ride-02\.fit|ride-02\.fit and ride-01\.fit"):
        compare([ride_of("ride-01.fit"), ride_of("ride-02.fit")])
