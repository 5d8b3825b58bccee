"""Agreement over a whole trial: limits with intervals, lines and their range, own noise, best means."""

import numpy as np
import pytest
from pytest import approx

from analysis.agreement import agreement_of, noise_of
from analysis.bests import bests_of
from analysis.blocks import Block
from analysis.pipeline import compare
from made import recording, trial_of
from sample_data.ride_model import Step, hold_plan, record, ride

SPRINT = [Step(name="sprint", duration_s=12, target_w=700, kind="transient", cadence_rpm=110),
          Step(name="easy", duration_s=90, target_w=110, kind="free")]  # fmt: skip
PLAN = hold_plan([120, 160, 200, 240, 280, 200]) + SPRINT * 3


def three(seed=1, noise=(0.01, 0.01, 0.02), **device):
    truth = ride(PLAN, seed=seed)
    made = [record(truth, seed=7 * seed + i, noise_frac=n, **(device if i == 2 else {})) for i, n in enumerate(noise)]
    return compare([recording(m, name) for m, name in zip(made, ("a", "b", "c"), strict=True)])


@pytest.fixture(scope="module")
def tree():
    return three(gain=1.04, offset_w=5.0).to_dict()


def test_limits_carry_their_intervals_and_the_line_its_range(tree):
    got = tree["agreement"][1]
    (low, high), (low_ci, high_ci) = got["limits_w"], got["limits_ci_w"]
    assert low_ci[0] < low < low_ci[1]
    assert high_ci[0] < high < high_ci[1]
    assert got["slope_ci"][0] <= 1.04 <= got["slope_ci"][1]
    assert got["intercept_ci_w"][0] <= 5.0 <= got["intercept_ci_w"][1]
    assert got["range_w"] == approx([120, 280], rel=0.05)
    for robust in ("theil_sen", "passing_bablok"):
        assert got[robust]["slope"] == approx(got["slope"], abs=0.02)


def test_a_gain_shows_as_proportional_bias_and_an_offset_alone_does_not(tree):
    assert tree["agreement"][1]["proportional"]["ci"][0] > 0.02
    offset = three(offset_w=8.0).to_dict()["agreement"][1]
    assert abs(offset["proportional"]["slope"]) < 0.01
    assert offset["bias_w"] == approx(8.0, abs=0.8)


def test_correlation_never_stands_without_the_sentence_why_it_is_no_agreement(tree):
    got = tree["agreement"][1]
    assert got["correlation"] > 0.999
    assert "no agreement" in got["correlation_note"]


def test_own_noise_is_recovered_with_its_interval_in_spite_of_a_gain():
    """2 % of some 200 W; a gain of 8 % would leak the rider's own scatter into it."""
    noises = {n["label"]: n for n in three(gain=1.08, noise=(0.01, 0.015, 0.03)).to_dict()["noise"]}
    level = 200.0
    for label, share in (("a", 0.01), ("b", 0.015), ("c", 0.03 * 1.08)):
        assert noises[label]["noise_w"] == approx(share * level, rel=0.2)
        assert noises[label]["variance_ci_w2"][0] < noises[label]["variance_w2"] < noises[label]["variance_ci_w2"][1]


def test_a_negative_variance_is_not_resolvable_and_never_zero():
    """Two devices whose errors are the same mirror-wise push the third below zero."""
    rng = np.random.default_rng(3)
    t, rider = np.arange(600.0), 200 + rng.normal(0, 5, 600)
    error = rng.normal(0, 3, 600)
    trial = trial_of([{"time_s": t, "power_w": p} for p in (rider, rider + error, rider - error)])
    block = Block(id="B01", start_s=0, end_s=600, kind="steady", level_w=200, cadence_rpm=None, name="hold",
                  interior_start_s=20, interior_end_s=580)  # fmt: skip
    got = noise_of(trial, [block])[0]
    assert got.noise_w is None
    assert got.variance_w2 < 0
    assert got.note.startswith("Not resolvable")


def test_one_level_carries_no_line():
    t = np.arange(900.0)
    trial = trial_of([{"time_s": t, "power_w": np.full(900, 200.0)}, {"time_s": t, "power_w": np.full(900, 210.0)}])
    blocks = [Block(id=f"B{i}", start_s=300 * i, end_s=300 * i + 300, kind="steady", level_w=200, cadence_rpm=None, name="",
                    interior_start_s=300 * i + 20, interior_end_s=300 * i + 290) for i in range(3)]  # fmt: skip
    got = agreement_of(trial, "b", blocks, noise_of(trial, blocks)[1])
    assert (got.slope, got.note) == (None, "All blocks lie at one level, which carries no line.")
    assert got.bias_w == approx(10.0)


def test_best_means_are_those_of_a_plain_search(tree):
    result = three(gain=1.04, offset_w=5.0)
    device, reference = (result.trial.per_second(x) for x in ("c", "a"))
    for best in result.bests[1].values:
        kernel = np.full(best.duration_s, 1 / best.duration_s)
        both = np.isfinite(device) & np.isfinite(reference)
        plain = [np.convolve(np.where(both, p, 0), kernel, mode="valid").max() for p in (device, reference)]
        assert (best.best_w, best.reference_best_w) == approx(plain, rel=0.02)
    assert [b.duration_s for b in result.bests[1].values] == [1, 5, 10, 15, 30, 60, 300, 1200]


def test_bands_of_best_means_cover_the_planted_gain_and_are_the_same_every_time():
    """Long bests; in short ones a maximum picks lucky seconds, which `noise_adds_pct` states."""
    hits = []
    for seed in range(12):
        got = three(seed=seed + 20, gain=1.04).bests[1].values
        hits += [b.delta_pct_ci[0] - 0.1 <= 4.0 <= b.delta_pct_ci[1] + 0.1 for b in got if b.duration_s in (60, 300)]
    assert np.mean(hits) >= 0.85
    one, two = three(seed=5), three(seed=5)
    assert one.bests == two.bests


def test_noise_alone_lifts_the_best_second_and_that_is_said():
    noisy = three(noise=(0.005, 0.005, 0.05)).bests[1].values
    assert noisy[0].duration_s == 1
    assert noisy[0].noise_adds_pct > 1.0
    assert noisy[-1].noise_adds_pct < noisy[0].noise_adds_pct


def test_seconds_without_common_power_have_no_best():
    t = np.arange(100.0)
    nothing = {"time_s": t, "power_w": np.full(100, np.nan)}
    assert bests_of(trial_of([{"time_s": t, "power_w": np.full(100, 200.0)}, nothing]), "b", lag_s=None).values == ()


def test_no_best_rests_on_the_seconds_of_an_excluded_block():
    """A spike in an excluded block is why it was excluded; the best second must come from elsewhere."""
    t = np.arange(600.0)
    reference = 200 + 20 * np.sin(t / 40)
    device = np.where(t == 300, 1500.0, reference + np.random.default_rng(4).normal(0, 2, t.size))
    trial = trial_of([{"time_s": t, "power_w": reference}, {"time_s": t, "power_w": device}])
    spiked = Block(
        id="B1", start_s=290.0, end_s=310.0, kind="steady", level_w=200.0, cadence_rpm=90.0, name="hold", interior_start_s=295.0,
        interior_end_s=310.0, excluded_reason="spike",
    )  # fmt: skip
    whole = bests_of(trial, "b", lag_s=None).values[0]
    assert (whole.duration_s, whole.best_w) == (1, approx(861, abs=10))  # the sample stands for the second around its stamp
    for best in bests_of(trial, "b", lag_s=None, excluded=[spiked]).values:
        assert best.best_w < 240
        inside_s = min(best.at_s + best.duration_s, 310) - max(best.at_s, 290)
        assert inside_s <= 0.02 * best.duration_s, "the share of lost seconds that any window may have"
