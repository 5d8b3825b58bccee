"""Trials as repeats. Referees: scipy's two-sample t, coverage by simulation, and what a trial's own JSON says."""

import numpy as np
from pytest import approx
from scipy import stats

from analysis.pooling import pool
from analysis.replicates import TrialDelta, across_trials, by_method, deltas_of_trial, firmware_changes


def deltas(values, se=0.3, *, firmware=None, kind="steady", blocks=8):
    firmware = firmware or [None] * len(values)
    return [
        TrialDelta(trial=f"day {i + 1}", kind=kind, level_w=None, delta_pct=v, se_pct=se, blocks=blocks, firmware=f)
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
    def day(i, w):
        return deltas_of_trial(digest(levels=(w, 1.05 * w)), trial=str(i))

    days = [d for i, w in enumerate((150.0, 157.0, 146.0)) for d in day(i, w)]
    levels = [a for a in across_trials(days) if a.level_w is not None]
    assert sum(len(a.trials) for a in levels) == 6
    assert all(len({d.trial for d in a.trials}) == len(a.trials) for a in levels)
    assert max(len(a.trials) for a in levels) == 3


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
