"""Windows of deltas beside a late device: its work is counted with the surge that made it, and no second twice."""

from itertools import pairwise

import pytest
from pytest import approx
from test_causes_and_response import PLAN, SETUP

from analysis.pipeline import compare
from made import recording
from sample_data.ride_model import record, ride


@pytest.fixture(scope="module")
def late():
    """Five percent high and two and a half seconds late, nothing else."""
    truth = ride(PLAN, seed=11)
    hub = record(truth, seed=1, noise_frac=0.005)
    device = record(truth, seed=2, noise_frac=0.005, gain=1.05, lag_s=2.5, smoothing_s=3.0)
    return compare([recording(hub, "hub"), recording(device, "device")], SETUP)


@pytest.mark.parametrize("kind", ["steady", "transient", "free", "all"])
def test_a_lag_makes_no_kind_of_riding_look_biased(late, kind):
    judged = next(d for k, d in late.summary if k == kind)
    assert judged.delta_pct == approx(5.0, abs=0.8)


def test_no_second_counts_in_two_windows(late):
    windows = [(b.interior_start_s, b.interior_end_s) for b in late.blocks]
    assert all(before[1] <= after[0] for before, after in pairwise(windows))
    assert all(start < end for start, end in windows)
