"""Deltas on made traces: closed forms, properties, coverage by simulation."""

import itertools

import numpy as np
import pytest
from pytest import approx
from scipy import signal

from analysis.deltas import delta_over, delta_pooled
from analysis.errors import OutOfRange
from analysis.judging import judge_interval, judge_pooled
from made import trial_of


def steady(rng, n, level_w, rho=0.7, sd_w=4.0):
    shocks = rng.standard_normal(n)
    shocks[0] /= np.sqrt(1 - rho * rho)
    return level_w + sd_w * np.sqrt(1 - rho * rho) * signal.lfilter([1.0], [1.0, -rho], shocks)


def two(device_w, reference_w, **more):
    t = np.arange(len(reference_w), dtype=float)
    return trial_of([{"time_s": t, "power_w": reference_w}, {"time_s": t, "power_w": device_w}], **more)


def test_delta_is_a_ratio_of_means_not_a_mean_of_ratios():
    reference = np.r_[np.full(100, 100.0), np.full(100, 300.0)]
    device = np.r_[np.full(100, 120.0), np.full(100, 300.0)]
    got = delta_over(two(device, reference).pair("b"), "b", -0.5, 199.5)
    assert got.delta_w == approx(10.0)
    assert got.delta_pct == approx(100 * 10 / 200)  # the mean of ratios would say 10 %


def test_swapping_device_and_reference_turns_the_watts_round():
    rng = np.random.default_rng(1)
    rider = steady(rng, 300, 250, sd_w=20)
    a, b = rider + rng.normal(0, 3, 300), 1.04 * rider + rng.normal(0, 3, 300)
    one, other = judge_interval(two(a, b), 20, 280)[0], judge_interval(two(b, a), 20, 280)[0]
    assert one.delta_w == approx(-other.delta_w, abs=1e-9)
    assert one.delta_w_ci == approx((-other.delta_w_ci[1], -other.delta_w_ci[0]), abs=1e-9)
    assert 1 + one.delta_pct / 100 == approx(1 / (1 + other.delta_pct / 100), rel=1e-12)


def test_scaling_the_device_by_three_percent_scales_every_delta_pct():
    rng = np.random.default_rng(2)
    reference = steady(rng, 400, 220)
    device = reference * 1.02 + rng.normal(0, 3, 400)
    for start, end in [(0, 60), (50, 300), (10, 390)]:
        plain = judge_interval(two(device, reference), start, end)[0]
        scaled = judge_interval(two(1.03 * device, reference), start, end)[0]
        assert scaled.delta_pct == approx(1.03 * plain.delta_pct + 3, abs=1e-9)
        assert scaled.delta_pct_ci == approx(tuple(1.03 * v + 3 for v in plain.delta_pct_ci), abs=1e-6)


@pytest.mark.parametrize("rho", [0.5, 0.8])
def test_interval_of_delta_pct_covers_the_planted_gain(rho):
    """Three-minute blocks, device noise correlated over seconds on top of a common, wandering rider."""
    rng = np.random.default_rng([3, int(10 * rho)])
    hits = 0
    for _ in range(400):
        rider = steady(rng, 180, 250, rho=0.9, sd_w=10)
        trial = two(1.05 * rider + steady(rng, 180, 0, rho), rider + steady(rng, 180, 0, rho))
        low, high = judge_interval(trial, 0, 180)[0].delta_pct_ci
        hits += low <= 5.0 <= high
    # 95 % nominal; 400 repeats have a standard error of 1.1 %
    assert 0.92 <= hits / 400 <= 0.985


def test_blocks_are_the_replicates_of_a_summary():
    """Six blocks with 2 % spread of their own: seconds alone would give an interval ten times too narrow."""
    rng = np.random.default_rng(4)
    hits = 0
    for _ in range(300):
        gains = 1.05 + 0.02 * rng.standard_normal(6)
        reference = np.concatenate([steady(rng, 180, 200, sd_w=3) for _ in range(6)])
        device = reference * np.repeat(gains, 180) + rng.normal(0, 2, 1080)
        spans = [(180 * i + 5.0, 180 * i + 175.0) for i in range(6)]
        low, high = judge_pooled(two(device, reference), "b", spans).delta_pct_ci
        hits += low <= 5.0 <= high
    assert 0.92 <= hits / 300 <= 0.985


@pytest.mark.parametrize(
    ("durations", "levels"),
    [((600, *[60] * 6), (200,) * 7), ((180,) * 5, (100, 200, 300, 200, 100)), ((300,) * 3, (100, 200, 300))],
)
def test_a_long_hold_among_short_ones_does_not_hide_how_far_holds_differ(durations, levels):
    """Every hold is off by 1 % of its own; with plain residuals the first covers 50 to 60 %, as simulated without a source."""
    rng, hits = np.random.default_rng(12), 0
    edges = np.concatenate(([0], np.cumsum(durations)))
    reference = np.repeat(np.array(levels, float), durations)
    spans = [(a - 0.5, b - 0.5) for a, b in itertools.pairwise(edges.tolist())]
    for _ in range(400):
        gains = np.repeat(1.05 + 0.01 * rng.standard_normal(len(levels)), durations)
        pair = two(reference * gains, reference).pair("b")
        low, high = delta_pooled(pair, "b", spans).delta_pct_ci
        hits += low <= 5.0 <= high
    assert 0.88 <= hits / 400 <= 0.985


def test_one_stretch_in_a_summary_equals_that_stretch():
    rng = np.random.default_rng(5)
    reference = steady(rng, 300, 200)
    pair = two(reference + steady(rng, 300, 5), reference).pair("b")
    assert delta_pooled(pair, "b", [(20.0, 280.0)]) == delta_over(pair, "b", 20.0, 280.0)


def test_a_few_seconds_are_too_short_to_judge():
    rng = np.random.default_rng(6)
    trial = two(steady(rng, 300, 260), steady(rng, 300, 200))
    got = judge_interval(trial, 100, 112)[0]
    assert got.delta_pct is not None
    assert (got.verdict, got.delta_pct_ci) == ("unsettled", None)
    assert "too short to judge" in got.reason


def test_coasting_has_watts_but_no_percentage():
    got = judge_interval(two(np.zeros(200), np.full(200, 2.0)), 10, 190)[0]
    assert got.delta_w == approx(-2.0)
    assert got.delta_pct is None
    assert got.verdict == "unsettled"


def test_time_without_common_data_gives_nothing_rather_than_zero():
    reference, device = np.full(200, 200.0), np.r_[np.full(100, 200.0), np.full(100, np.nan)]
    got = judge_interval(two(device, reference), 120, 180)[0]
    assert (got.mean_w, got.delta_w, got.delta_pct) == (None, None, None)


@pytest.mark.parametrize(("start", "end"), [(50, 50), (60, 50), (float("nan"), 50), (10, 1e9)])
def test_an_interval_that_is_none_is_refused(start, end):
    with pytest.raises(OutOfRange, match="interval must lie within"):
        judge_interval(two(np.full(200, 200.0), np.full(200, 200.0)), start, end)


def test_identical_devices_differ_by_exactly_nothing():
    rng = np.random.default_rng(7)
    trace = steady(rng, 200, 200)
    got = judge_interval(two(trace, trace), 0, 199)[0]
    assert (got.delta_w, got.delta_pct, got.verdict) == (approx(0, abs=1e-9), approx(0, abs=1e-9), "within")
