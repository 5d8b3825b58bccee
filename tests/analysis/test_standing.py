"""How a device stands over its trials. Referees: the pooling that is checked elsewhere, and what a reader must not be told."""

from dataclasses import replace

import pytest
from pytest import approx

from analysis.dossier.document import TrialEntry
from analysis.dossier.standing import moved_verdicts, needed_for, stand_of, trial_deltas
from analysis.pooling import pool
from analysis.replicates import deltas_of_trial

RIDDEN = {
    "power_w": [100, 300], "cadence_rpm": [60, 100], "torque_nm": [10, 40], "temperature_degc": None, "sprints": 4, "holds": 8,
    "levels": 4, "repeated_levels": 4, "positions": [],
}  # fmt: skip


def trial(delta, *, key=None, firmware="1.0", day="2026-03-01", half=0.4, devices=3, rider="A", band=(-3.0, 7.0)):
    row = {"delta_pct": delta, "delta_pct_ci": [delta - half, delta + half], "allowance_pct": list(band), "verdict": "within",
           "blocks": 8}  # fmt: skip
    summary = [{**row, "kind": kind} for kind in ("steady", "all")]
    digest = {"firmware": firmware, "start_utc": None, "devices": devices, "ridden": RIDDEN, "levels": [], "summary": summary}
    name = key or f"{day} {delta}"
    return TrialEntry(key=name, name=name, label="pedals", digest=digest, rider=rider, day=day)


def days(*deltas, **more):
    return [trial(d, day=f"2026-03-{i + 1:02d}", **more) for i, d in enumerate(deltas)]


def test_trials_are_pooled_and_the_mean_s_interval_is_held_against_the_allowance():
    stand = stand_of(days(2.0, 2.6, 1.7, 2.3))
    held = stand.standings[0]
    errors = [d.se_pct for t in days(2.0, 2.6, 1.7, 2.3) for d in deltas_of_trial(t.digest, trial="x") if d.kind == "steady"]
    assert held.across.pooled == pool([2.0, 2.6, 1.7, 2.3], errors)
    assert held.verdict.word == "within"
    assert "+2.1 % over held power in 4 trials" in stand.headline or "+2.2 % over held power in 4 trials" in stand.headline
    assert "I²" in stand.how_sure


def test_one_trial_never_settles_a_device():
    stand = stand_of(days(12.0))
    assert stand.standings[0].verdict.word == "unsettled"
    assert "outside by itself" in stand.standings[0].verdict.reason
    assert "settles nothing about another day" in stand.headline


def test_one_percent_is_asked_of_the_device_and_not_of_the_chain():
    """Pedals 3 % above a hub behind a chain that takes 2 to 4 % read true: the usual claim is kept, not missed."""
    chain = {"point": "pedal", "reference_point": "hub", "loss_pct": [2.0, 4.0]}
    trials = [replace(t, digest=t.digest | chain) for t in days(3.0, 3.1, 3.2, 3.1, 3.0)]
    said = next(s for s in stand_of(trials).to_settle if "±1 % alone" in s)
    assert "3.0 % drivetrain loss" in said and "it is within" in said
    apart = [replace(t, digest=t.digest | {"loss_pct": [i, 4.0]}) for i, t in enumerate(trials)]
    assert any("drivetrain loss left aside" in s for s in stand_of(apart).to_settle)


def test_what_nobody_stated_is_not_said_to_be_one_rider_and_one_rig():
    nobody = stand_of([replace(t, rider=None) for t in days(2.0, 2.4)])
    assert any("No trial names its rider" in s for s in nobody.to_settle)
    assert not any("is of one rider" in s for s in nobody.to_settle)
    two = stand_of([*days(2.0, 2.4), trial(3.0, firmware="2.0", day="2026-04-01", rider="B")])
    assert any(s.startswith("The trial with firmware 2.0 is of one rider") for s in two.to_settle)


def test_an_empty_dossier_says_that_nothing_is_known():
    stand = stand_of([])
    assert (stand.standings, "nothing is known" in stand.headline) == ((), True)


def test_trials_that_disagree_in_sign_are_no_mean():
    stand = stand_of(days(-4.0, 4.2, 4.0))
    assert stand.headline.startswith("The trials disagree in sign")
    assert stand.standings[0].verdict.word == "unsettled"


def test_the_headline_speaks_of_the_last_firmware_and_the_change_is_given():
    old = days(9.0, 9.3, 9.1, firmware="1.0")
    new = [replace(t, day=t.day.replace("-03-", "-04-")) for t in days(2.1, 2.6, firmware="1.1")]
    stand = stand_of([*new, *old])
    assert stand.headline.startswith("Firmware 1.1: +2.")
    assert [f for f, _ in stand.by_firmware] == ["1.0", "1.1"]
    assert dict(stand.by_firmware)["1.0"][0].verdict.word == "outside"
    change = stand.firmware[0]
    assert (change.before, change.after) == ("1.0", "1.1")
    assert change.change_pct == approx(-6.78, abs=0.1)
    assert change.ci_pct[1] < 0


def test_the_widest_allowance_of_the_trials_counts():
    """One reviewer's cleaner chain must not charge the device with what another's could explain."""
    stand = stand_of([*days(6.5, 6.6), trial(6.4, day="2026-03-09", band=(-2.0, 5.0))])
    assert stand.standings[0].allowance_pct == (-3.0, 7.0)


@pytest.mark.parametrize(("deltas", "settled"), [((2.0, 2.1, 1.9), True), ((6.0, 8.0, 7.2), False)])
def test_what_it_takes_to_settle_is_said(deltas, settled):
    stand = stand_of(days(*deltas, devices=2))
    needed = needed_for(stand.standings[0], stand.standings[0].allowance_pct)
    assert (needed.more == 0) == settled
    assert any("Against a claim of ±1 % alone" in s for s in stand.to_settle)
    assert any("one rider, one unit and one rig" in s for s in stand.to_settle)
    assert any("ride a third" in s for s in stand.to_settle)


def test_what_settles_it_never_contradicts_the_interval_that_is_printed():
    """Verdict and forecast on one page: more trials are asked for exactly where the interval reaches across an edge."""
    for deltas in ((2.3, 2.2, 2.4), (0.8, 0.9, 1.3), (0.2, 0.1, -0.1), (0.2, 0.7, -0.1)):
        stand = stand_of(days(*deltas))
        low, high = stand.standings[0].across.pooled.ci
        needed = needed_for(stand.standings[0], (-1.0, 1.0))
        straddles = low < -1 < high or low < 1 < high
        assert (needed.more != 0) == straddles
        assert ("so far settle" in needed.sentence) != straddles


def test_nothing_is_said_to_settle_a_mean_of_trials_that_disagree_in_sign():
    stand = stand_of(days(-4.0, 4.2, 4.0, devices=2))
    assert needed_for(stand.standings[0], (-1.0, 1.0)) is None
    assert not any("If the mean" in s or "hangs on" in s or "so far settle" in s for s in stand.to_settle)


def test_two_trials_do_not_say_how_far_days_differ():
    said = stand_of(days(2.0, 2.1)).how_sure
    assert "2 trials cannot tell by how much days differ" in said
    assert "I²" not in said


def test_trials_of_one_name_stay_two_trials():
    same = [replace(t, name="evening") for t in days(2.0, 2.6)] + [replace(trial(2.2, day=None), name="evening", key="k3")]
    assert sorted(d.trial for d in trial_deltas(same) if d.kind == "steady") == [
        "evening (2026-03-01)", "evening (2026-03-02)", "evening (3)",
    ]  # fmt: skip
    assert stand_of(same).standings[0].across.pooled.n == 3


def test_references_on_both_sides_of_the_chain_are_said():
    mixed = days(2.0, 2.6, -1.0)
    for entry, point in zip(mixed, ("hub", "hub", "crank"), strict=True):
        entry.digest["reference_point"] = point
    assert "both sides of the chain" in stand_of(mixed).how_sure
    assert "both sides of the chain" not in stand_of(mixed[:2]).how_sure


def test_trials_that_name_no_rider_are_not_said_to_be_of_one():
    unnamed = [replace(t, rider=None) for t in days(2.0, 2.1)]
    assert any("No trial names its rider" in s for s in stand_of(unnamed).to_settle)


def test_the_picture_shows_the_kind_that_the_headline_speaks_of():
    """Without held power the headline speaks of all that was ridden, not of the surges that come first in the table."""
    loose = days(2.0, 2.1, 2.2)
    for entry in loose:
        entry.digest["summary"][0]["kind"] = "transient"
    stand = stand_of(loose)
    assert stand.standings[0].across.kind == "transient"
    assert (stand.shown.across.kind, "everything ridden" in stand.headline) == ("all", True)


def test_a_verdict_that_hangs_on_one_trial_is_named():
    stand = stand_of(days(2.0, 2.1, 2.2, 9.5))
    assert any("hangs on 2026-03-04 9.5" in s for s in stand.to_settle)


def test_analysing_again_shows_which_verdicts_moved():
    old, new = trial(2.0).digest, trial(2.0).digest
    assert moved_verdicts("t", old, new) == ()
    changed = {**new, "summary": [{**new["summary"][0], "verdict": "outside", "delta_pct": 7.4}, new["summary"][1]]}
    moved = moved_verdicts("t", old, changed)
    assert [(m.kind, m.before, m.after, m.before_pct, m.after_pct) for m in moved] == [("steady", "within", "outside", 2.0, 7.4)]
