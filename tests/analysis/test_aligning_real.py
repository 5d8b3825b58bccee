"""Referee: real rides against copies of themselves, resampled at another phase with noise. Skipped where they are absent.

The recordings come from public repositories under MIT licences (NOTICE.md beside them).
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pytest import approx

from analysis.aligning import align
from analysis.reading import read

RIDES = Path(__file__).resolve().parents[3] / "shared" / "rides"
pytestmark = pytest.mark.skipif(not RIDES.is_dir(), reason="the folder with real recordings is not beside the project")
NOISE = {"power_w": 4.0, "cadence_rpm": 0.5, "heart_rate_bpm": 0.5, "speed_mps": 0.05, "altitude_m": 0.2}


def resampled(own, phase_s, ahead_s, seed):
    """Read between the samples, never across a pause, with noise on every channel; its clock is `ahead_s` ahead."""
    rng, time = np.random.default_rng(seed), own.samples["time_s"].to_numpy()
    at = time[:-1][np.diff(time) <= 1.5] + phase_s
    channels = {"time_s": at + ahead_s}
    for name, size in NOISE.items():
        if name in own.channels:
            value = own.samples[name].to_numpy(float)
            channels[name] = np.interp(at, time, value) + rng.normal(0, size, at.size)
    kept = tuple(c for c in own.channels if c in channels)
    frame = own.samples.iloc[: at.size][["time_s"]].assign(**channels)
    return replace(own, name="copy", sha256="1" * 64, samples=frame, channels=kept)


@pytest.mark.parametrize("name", ["ride-01.fit", "ride-02.fit", "ride-03-indoor.fit"])
@pytest.mark.parametrize("ahead_s", [7.35, -3600.0])
def test_a_resampled_copy_of_a_real_ride_is_put_back_in_its_place(name, ahead_s):
    own = read((RIDES / name).read_bytes(), name=name)
    for seed, phase_s in enumerate((0.2, 0.5, 0.8)):
        got = align(resampled(own, phase_s, ahead_s, seed), own, label="copy")
        assert got.settled
        assert got.via != "power"
        assert got.shift_s == approx(-ahead_s, abs=0.15)
        assert not got.pieces
