"""The headline: one sentence, its numbers, never stronger than the evidence."""

from dataclasses import replace

import pytest
from planted import PLAN, PLANTED, SETUP

from analysis.evidence import Finding
from analysis.judging import LOOSE_CLOCK, ONE_SENSOR, JudgedDelta
from analysis.pipeline import compare
from analysis.setup import Setup
from analysis.verdict import verdict_on
from analysis.wording import BOTH_RISE, MAX_HEADLINE, headline, second_sentence
from made import recording
from sample_data.ride_model import downstream, record, ride


def judged(label, pct, verdict):
    return JudgedDelta(
        label=label, n_s=1000.0, mean_w=210.0, reference_mean_w=200.0, delta_w=2 * pct, delta_w_ci=(2 * pct - 1, 2 * pct + 1),
        delta_pct=pct, delta_pct_ci=(pct - 0.5, pct + 0.5), allowance_pct=(-2.0, 7.3), likely_allowance_pct=(0, 5),
        verdict=verdict, reason="",
    )  # fmt: skip


def finding(code, strength="clear", size=7.0, **more):
    return Finding(code=code, label="pedals", size=size, unit="%/h", ci=None, strength=strength, text=f"Text of {code}.",
                   short="from +2.0 % at minute 3 to +9.0 % at minute 60", **more)  # fmt: skip


OUTSIDE, WITHIN = judged("pedals", 9.3, "outside"), judged("spider", 2.7, "within")


@pytest.mark.parametrize(
    ("verdict", "words"),
    [("outside", "more than the"), ("within", "within the"), ("unsettled", "this trial cannot tell whether that is more than")],
)
def test_headline_says_what_the_verdict_says_with_its_interval(verdict, words):
    said = headline("hub", [("pedals", "steady", judged("pedals", 9.3, verdict))], [])
    assert said.startswith("Pedals against hub: +9.3 % while power is held (95 % interval +8.8 to +9.8 %)")
    assert words in said
    assert "−2.0 to +7.3 %" in said
    assert said.count(".") - said.count(".3") - said.count(".8") - said.count(".0") == 1  # one sentence


def test_a_likely_drift_only_seems_to_climb():
    sure = headline("hub", [("pedals", "steady", OUTSIDE)], [finding("drift")])
    unsure = headline("hub", [("pedals", "steady", OUTSIDE)], [finding("drift", "likely")])
    assert "the difference climbs from +2.0 %" in sure
    assert "the difference seems to climb from +2.0 %" in unsure
    assert "falls" in headline("hub", [("pedals", "steady", OUTSIDE)], [finding("drift", size=-7.0)])


def test_many_devices_are_told_together_in_a_short_sentence():
    others = [(label, "steady", replace(WITHIN, label=label)) for label in ("spider", "crank", "trainer")]
    said = headline("hub", [("pedals", "steady", OUTSIDE), *others], [])
    assert said.endswith("; spider, crank, trainer: within their allowance.")
    assert len(said) <= MAX_HEADLINE + 40


def test_what_one_trial_cannot_tell_is_said():
    said = second_sentence([finding("temperature"), finding("smoothing", "likely"), finding("lag")], "One unit of each.")
    assert said == f"Text of lag. Text of smoothing. {BOTH_RISE} One unit of each."


def steady_only(*, free_gain):
    truth = ride(PLAN, seed=8)
    hub = record(downstream(truth, loss_frac=0.025), seed=1, noise_frac=0.01)
    change = PLANTED["steady-bias"](truth)
    pedals = record(truth, seed=2, noise_frac=0.01, gain=change["gain"] * free_gain)
    setup = Setup(reference="hub", devices=SETUP.devices, loss_pct=(1.0, 4.0))
    return compare([recording(hub, "hub"), recording(pedals, "device")], setup)


def test_not_otherwise_is_said_only_where_free_riding_is_known_to_be_within():
    assert "while power is held, and not otherwise" in steady_only(free_gain=1.0).headline
    said = steady_only(free_gain=1.06).headline
    assert "not otherwise" not in said
    assert "% while riding along" in said


@pytest.mark.parametrize(
    ("reason", "words"), [(ONE_SENSOR, "both carry one sensor's values"), (LOOSE_CLOCK, "their clocks could not be settled")]
)
def test_where_no_verdict_is_possible_the_headline_does_not_blame_the_interval(reason, words):
    unsettled = replace(judged("pedals", -99.9, "unsettled"), reason=f"They carry {reason}")
    said = headline("hub", [("pedals", "steady", unsettled)], [])
    assert f"without a verdict: {words}" in said
    assert "cannot tell" not in said


@pytest.mark.parametrize("code", ["offset", "cadence"])
def test_a_cause_that_the_headline_cannot_hold_stands_in_the_second_sentence(code):
    """+12 W on every reading may average to +5 %, within the allowance, while it reads 15 % high at 75 W."""
    assert second_sentence([finding(code)], "Scope.").startswith(f"Text of {code}.")


def test_a_delta_just_outside_is_not_said_to_be_so_by_nothing():
    reason = verdict_on(5.5, (5.02, 6.0), (-1.0, 5.0), enough=True).reason
    assert reason.endswith("(−1.0 to +5.0 %), by less than 0.1 points at its nearer end.")
    assert verdict_on(-3.0, (-4.0, -2.0), (-1.0, 5.0), enough=True).reason.endswith("by at least 1.0 points.")
