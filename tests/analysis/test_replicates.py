"""Trials as repeats. Referees: scipy's two-sample t, coverage by simulation, and what a trial's own JSON says."""

from dataclasses import replace

import numpy as np
import pytest
from pytest import approx
from scipy import stats
from scipy.cluster.hierarchy import fcluster, linkage

from analysis.levels import SAME_LEVEL_FRAC, grouped
from analysis.pooling import pool
from analysis.replicates import TrialDelta, across_trials, by_method, deltas_of_trial, firmware_changes


def deltas(values, se=0.3, *, firmware=None, kind="steady", blocks=8):
    firmware = firmware or [None] * len(values)
    return [
        TrialDelta(
            trial=f"day {i + 1}", kind=kind, level_w=None, delta_pct=v, se_pct=se, ci_pct=(v - 2.4 * se, v + 2.4 * se),
            blocks=blocks, firmware=f,
        )
        for i, (v, f) in enumerate(zip(values, firmware, strict=True))
    ]


def digest(delta=3.0, half=0.5, firmware="2.07", levels=(150.0, 250.0)):
    row = {"delta_pct": delta, "delta_pct_ci": [delta - half, delta + half], "blocks": 8}
    return {
        "firmware": firmware,
        "summary": [{**row, "kind": "steady"}, {**row, "kind": "free", "delta_pct": None, "delta_pct_ci": None}],
        "levels": [{**row, "level_w": w, "blocks": 3} for w in levels],
    }


def test_a_trial_gives_one_estimate_per_kind_and_level_and_its_blocks_are_no_replicates():
    found = deltas_of_trial(digest(), trial="day 1")
    assert [(d.kind, d.level_w, d.blocks) for d in found] == [("steady", None, 8), ("steady", 150.0, 3), ("steady", 250.0, 3)]
    assert found[0].ci_pct == approx((2.5, 3.5))
    assert found[0].firmware == "2.07"
    alone = across_trials(found)[0]
    assert alone.pooled is None
    assert "how far another day would differ is unknown" in alone.sentence


def test_trials_pool_as_the_published_checked_pooling_does_and_each_is_left_out_once():
    got = across_trials(deltas([1.8, 2.4, 1.1, 3.0]))[0]
    assert got.pooled == pool([1.8, 2.4, 1.1, 3.0], [0.3] * 4)
    name, left = got.without[2]
    rest = pool([1.8, 2.4, 3.0], [0.3] * 3)
    assert (name, left.mean, left.ci) == ("day 3", rest.mean, rest.ci)
    assert got.opposed is None


def test_every_method_of_pooling_is_on_offer():
    got = by_method(across_trials(deltas([1.8, 2.4, 1.1, 3.0]))[0])
    assert [p.method for p in got] == ["REML", "PM", "DL"]
    assert got[2] == pool([1.8, 2.4, 1.1, 3.0], [0.3] * 4, method="DL")
    assert by_method(across_trials(deltas([1.8]))[0]) == ()


def test_trials_that_disagree_in_sign_are_said_first():
    got = across_trials(deltas([-2.5, 2.8, 2.4, 0.1]))[0]
    assert got.opposed == (("day 1",), ("day 2", "day 3"))
    assert got.sentence.startswith("The trials disagree in sign: low in day 1, high in day 2, day 3.")


def test_levels_of_different_days_join_and_those_of_one_day_never_do():
    def levels(apart):
        days = [(w, apart * w) for w in (150.0, 157.0, 146.0)]
        found = [d for i, both in enumerate(days) for d in deltas_of_trial(digest(levels=both), trial=str(i))]
        return [sorted(d.trial for d in a.trials) for a in across_trials(found) if a.level_w is not None]

    assert levels(1.25) == [["0", "1", "2"]] * 2
    close = levels(1.05)
    assert sum(len(names) for names in close) == 6
    assert all(len(set(names)) == len(names) for names in close)


@pytest.mark.parametrize("seed", range(5))
def test_levels_are_grouped_as_scipy_s_complete_linkage_does(seed):
    power = np.random.default_rng(seed).uniform(80, 400, 40)
    theirs = fcluster(linkage(np.log(power)[:, None], "complete"), np.log1p(SAME_LEVEL_FRAC), "distance")
    ours = {frozenset(group) for group in grouped(power)}
    assert ours == {frozenset(np.flatnonzero(theirs == n).tolist()) for n in set(theirs.tolist())}


def test_trials_alike_are_seldom_said_to_disagree_in_sign():
    """Dossiers of twenty trials alike, five blocks each; by their own 95 % intervals one in six would be said to."""
    rng, said = np.random.default_rng(7), 0
    for _ in range(60):
        blocks = rng.normal(0, 0.5, (20, 5))
        errors = blocks.std(axis=1, ddof=1) / np.sqrt(5)
        alike = [replace(d, se_pct=e) for d, e in zip(deltas(blocks.mean(axis=1), blocks=5), errors, strict=True)]
        said += across_trials(alike, method="DL")[0].opposed is not None
    assert said <= 3


def test_a_trial_of_two_blocks_that_agree_by_luck_does_not_take_all_the_weight():
    """Its digest holds the error that its seconds give; worked back from the interval it would be a sixth of that."""
    lucky = {**digest(levels=()), "summary": [{"kind": "steady", "delta_pct": 5.0, "delta_pct_ci": [4.2, 5.8], "blocks": 2,
                                               "delta_pct_se": 0.4}]}  # fmt: skip
    assert deltas_of_trial(lucky, trial="x")[0].se_pct == 0.4
    del lucky["summary"][0]["delta_pct_se"]
    assert deltas_of_trial(lucky, trial="x")[0].se_pct < 0.1


def histories(truths, per, n=400, seed=5):
    rng = np.random.default_rng(seed)
    for _ in range(n):
        values = np.repeat(truths, per) + rng.normal(0, 0.8, per * len(truths)) + rng.normal(0, 0.2, per * len(truths))
        yield firmware_changes(deltas(values, se=0.2, firmware=np.repeat([str(i) for i in range(len(truths))], per).tolist()))


@pytest.mark.parametrize("versions", [2, 6])
def test_updates_that_change_nothing_are_seldom_said_to(versions):
    """Histories of three trials on each of the firmwares; without regard to how many are looked at it were 15 % for six."""
    said = [any("may be no change" not in c.sentence for c in changes) for changes in histories([0.0] * versions, 3)]
    assert 0.005 <= np.mean(said) <= 0.075


@pytest.mark.parametrize("trials", [3, 5, 10])
@pytest.mark.parametrize("blocks", [2, 8])
def test_pooled_and_prediction_intervals_cover_with_errors_that_each_trial_found_itself(trials, blocks):
    """Days differ by 0.8 %, blocks by 0.5 %, their seconds by 0.5 %; simulation of 500 dossiers, no source."""
    rng, mean, day = np.random.default_rng(trials), [], []
    for _ in range(500):
        x = rng.normal(0, 0.8, (trials, 1)) + rng.normal(0, 0.5, (trials, blocks)) + rng.normal(0, 0.5, (trials, blocks))
        errors = np.maximum(x.std(axis=1, ddof=1), 0.5) / np.sqrt(blocks)  # as `deltas` floors them by the seconds within
        got = pool(x.mean(axis=1), errors)
        mean.append(got.ci[0] <= 0 <= got.ci[1])
        day.append(got.prediction[0] <= rng.normal(0, 0.8) <= got.prediction[1])
    assert 0.92 <= np.mean(mean) <= 1.0
    assert 0.90 <= np.mean(day) <= 1.0


def test_a_firmware_s_change_is_the_two_sample_t_where_trials_are_alike():
    """Equal own errors and a spread beyond them: REML with Knapp-Hartung is the pooled-variance t interval."""
    before, after = [1.0, 2.2, 0.4, 1.9], [3.5, 4.9, 2.8]
    got = firmware_changes(deltas(before + after, firmware=["1.0"] * 4 + ["1.1"] * 3))[0]
    theirs = stats.ttest_ind(after, before).confidence_interval(0.95)
    assert got.change_pct == approx(np.mean(after) - np.mean(before))
    assert got.ci_pct == approx((theirs.low, theirs.high), rel=1e-6)
    assert (got.before, got.after, got.n_before, got.n_after) == ("1.0", "1.1", 4, 3)


def test_no_change_is_stated_where_every_firmware_was_ridden_once():
    assert firmware_changes(deltas([1.0, 4.0], firmware=["1.0", "1.1"])) == ()
    assert firmware_changes(deltas([1.0, 4.0, 2.0], firmware=["1.0", "1.0", "1.0"])) == ()


def test_the_interval_of_a_change_covers_it():
    """Days differ by 0.8 %, each knows itself to 0.2 %: 600 histories of three and three trials with a change of 1 %."""
    rng, hits = np.random.default_rng(5), []
    for _ in range(600):
        truth = np.array([0.0] * 3 + [1.0] * 3)
        values = truth + rng.normal(0, 0.8, 6) + rng.normal(0, 0.2, 6)
        got = firmware_changes(deltas(values, se=0.2, firmware=["1"] * 3 + ["2"] * 3))[0]
        hits.append(got.ci_pct[0] <= 1.0 <= got.ci_pct[1])
    assert 0.93 <= np.mean(hits) <= 0.98
