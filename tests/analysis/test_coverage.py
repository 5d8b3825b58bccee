"""Coverage of the 95 % intervals on whole generated trials whose devices err as real ones do: slowly as well as quickly."""

import numpy as np
import pytest
from scipy import signal

from analysis.pipeline import compare
from analysis.setup import DeviceSetup, Setup
from made import recording
from sample_data.ride_model import downstream, hold_plan, record, ride

SETUP = Setup(
    reference="hub",
    devices=(
        DeviceSetup(file="hub", label="hub", point="hub", claim_pct=1.0),
        DeviceSetup(file="device", label="device", point="pedal", claim_pct=1.0),
    ),
    loss_pct=(1.0, 4.0),
)


def wandering(channels, rng, *, sd_frac=0.02, rho=0.7):
    """Device noise correlated from second to second, as smoothing and slow gauges make it."""
    shocks = rng.standard_normal(channels["power_w"].size)
    noise = sd_frac * np.sqrt(1 - rho**2) * signal.lfilter([1.0], [1.0, -rho], shocks)
    return {**channels, "power_w": np.round(channels["power_w"] * (1 + noise))}


@pytest.mark.parametrize("trials", [20, pytest.param(200, marks=[pytest.mark.nightly, pytest.mark.timeout(1200)])])
def test_intervals_of_held_blocks_cover_the_planted_ratio(trials):
    """Five intervals a trial; nominal 95 %, claimed 93-97 %, two Monte Carlo errors are given."""
    true = 100 * (1.04 / 0.975 - 1)
    rng, inside, summaries = np.random.default_rng(21), [], []
    for seed in range(trials):
        truth = ride(hold_plan([140, 180, 220, 260, 200]), seed=500 + seed)
        hub = wandering(record(downstream(truth, loss_frac=0.025), seed=seed), rng)
        device = wandering(record(truth, seed=1000 + seed, gain=1.04, clock_ahead_s=2.3), rng)
        got = compare([recording(hub, "hub"), recording(device, "device")], SETUP)
        held = {b.id for b in got.blocks if b.kind == "steady"}
        inside += [d.delta_pct_ci[0] <= true <= d.delta_pct_ci[1] for b, d in got.deltas if b in held and d.delta_pct_ci]
        summaries += [d.delta_pct_ci[0] <= true <= d.delta_pct_ci[1] for kind, d in got.summary if kind == "steady"]
    assert len(inside) > 4 * trials
    error = np.sqrt(0.95 * 0.05 / len(inside))
    assert 0.93 - 2 * error <= np.mean(inside) <= 0.97 + 2 * error
    assert np.mean(summaries) >= 0.95 - 2 * np.sqrt(0.95 * 0.05 / trials)
