"""Claimed against measured. Referees: JCGM 100, ISO 13528's En, two figures of common practice without a source."""

import math
from dataclasses import replace

import numpy as np
import pytest
from pytest import approx

from analysis.bench_sheet import Row, measure
from analysis.errors import OutOfRange

STACK = Row(quantity="stack height", unit="mm", readings=(14.3, 14.4, 14.35), claimed=14.0, resolution=0.05, setup=0.5)


def test_stack_heights_of_common_practice_agree_and_differ():
    """No source: 14.0 claimed, 14.35 read with a caliper set-up of some +-0.5, agrees; 8.8 claimed, 10.5 read, differs."""
    first = measure(STACK)
    assert (first.mean, first.delta) == (approx(14.35), approx(0.35))
    assert first.answer == "agrees"
    second = measure(replace(STACK, readings=(10.4, 10.5, 10.6), claimed=8.8))
    assert (second.answer, "no failure" in second.reason) == ("differs", True)


def test_the_budget_is_that_of_jcgm_100():
    """4.2.3 (s over root n), F.2.2.1 (resolution over root 12), 4.3.7 (half-width over root 3), by hand."""
    got = measure(replace(STACK, calibration=0.01))
    s = math.sqrt((0.05**2 + 0.05**2) / 2) / math.sqrt(3)
    by_hand = math.sqrt(s**2 + 0.05**2 / 12 + 0.01**2 + 0.5**2 / 3)
    assert got.budget.standard == approx(by_hand, rel=1e-12)
    assert got.expanded == approx(1.96 * by_hand, rel=1e-3), "the spread of three readings is a small part of it"


def test_en_decides_where_a_tolerance_is_claimed():
    """The pairs of shared checks f: 251.0 +- 5.0 against 246.0 +- 3.7 gives En 0.803842; 258 gives 1.929221."""
    row = Row(quantity="mass", unit="g", readings=(251.0,), claimed=246.0, tolerance=3.7, calibration=5.0 / 1.959964)
    assert measure(row).en == approx(0.803842, abs=1e-5)
    assert measure(row).answer == "cannot tell", "the balance is coarser than the tolerance"
    off = measure(replace(row, readings=(258.0,)))
    assert (off.en, off.answer) == (approx(1.929221, abs=1e-5), "differs")
    fine = measure(replace(row, readings=(247.0,), calibration=0.5))
    assert fine.answer == "agrees"


def test_battery_runs_that_were_stopped_early_are_lower_bounds():
    run = Row(quantity="battery", unit="h", readings=(40.0,), claimed=60.0, promise="at least", stopped_early=True)
    assert measure(run).answer == "cannot tell"
    assert measure(replace(run, readings=(72.0,))).answer == "agrees"
    start_up = replace(run, quantity="start-up time", unit="s", promise="at most", claimed=5.0, readings=(9.0,))
    assert measure(start_up).answer == "differs"
    beyond = replace(run, promise="value", tolerance=2.0, readings=(72.0,))
    assert measure(beyond).answer == "differs", "60 h within 2 h cannot be said of a run that still goes at 72 h"


@pytest.mark.parametrize(
    ("readings", "promise", "answer"),
    [
        ((310.0, 311.0, 309.0), "at most", "agrees"),
        ((330.0, 331.0, 329.0), "at most", "differs"),
        ((320.5, 321.5, 319.5), "at most", "cannot tell"),
        ((330.0, 331.0, 329.0), "at least", "agrees"),
        ((310.0, 311.0, 309.0), "at least", "differs"),
    ],
)
def test_a_promise_of_one_side_is_held_against_that_side(readings, promise, answer):
    row = Row(quantity="mass of the pair", unit="g", readings=readings, claimed=320.0, promise=promise, resolution=1.0)
    assert measure(row).answer == answer


def test_one_reading_and_no_word_on_the_instrument_settle_nothing():
    bare = measure(Row(quantity="float", unit="deg", readings=(6.0,), claimed=6.0))
    assert (bare.answer, bare.expanded) == ("cannot tell", None)
    assert measure(Row(quantity="float", unit="deg", readings=(6.0,))).answer is None
    alike = measure(Row(quantity="float", unit="deg", readings=(6.0, 6.0, 6.0), claimed=6.0))
    assert alike.reason.startswith("Readings all alike")


def test_a_claim_of_zero_needs_a_tolerance():
    offset = Row(quantity="offset of the axle", unit="mm", readings=(0.1, -0.1, 0.05), claimed=0.0, resolution=0.05)
    assert (measure(offset).answer, "claim of zero" in measure(offset).reason) == ("cannot tell", True)
    assert measure(replace(offset, tolerance=0.5)).answer == "agrees"
    assert measure(replace(offset, readings=(1.1, 0.9, 1.0))).answer == "differs"


@pytest.mark.parametrize("n", [2, 3, 5])
@pytest.mark.parametrize("scatter", [0.3, 1.0, 3.0])
def test_few_readings_cover_by_their_effective_degrees_of_freedom(n, scatter):
    """JCGM 100 annex G.4 by simulation of 3000 sheets: readings scatter by a part, as much as, or more than the calibration.

    The formula's own weakness is two readings that scatter more than the instrument is off: 87 %; three give 91 %.
    """
    rng = np.random.default_rng(n)
    readings, off = rng.normal(100, scatter, (3000, n)), rng.normal(0, 1.0 / np.sqrt(n), 3000)
    hits = []
    for shown, by in zip(readings, off, strict=True):
        got = measure(Row(quantity="mass", unit="g", readings=tuple(shown + by), calibration=1.0 / math.sqrt(n)))
        hits.append(abs(got.mean - 100) <= got.expanded)
    assert {2: 0.855, 3: 0.905, 5: 0.925}[n] <= np.mean(hits) <= 0.985


def test_the_interval_covers_the_true_value_as_often_as_it_says():
    """Five readings off a balance that shows whole grams, its calibration off by an unknown 0.4 g: 95 % of 4000 intervals."""
    rng = np.random.default_rng(11)
    hits = []
    for _ in range(4000):
        true = rng.uniform(200, 400)
        shown = np.round(true + rng.normal(0, 0.4) + rng.normal(0, 0.8, 5))
        got = measure(Row(quantity="mass", unit="g", readings=tuple(shown), resolution=1.0, calibration=0.4))
        hits.append(abs(got.mean - true) <= got.expanded)
    assert 0.935 <= np.mean(hits) <= 0.985


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"readings": ()}, "stack height needs 1 to 200 readings"),
        ({"readings": (14.0, math.nan)}, "stack height: every reading"),
        ({"resolution": -0.1}, "its resolution must be zero or more"),
        ({"claimed": math.inf}, "stack height: every reading"),
    ],
)
def test_what_cannot_be_a_measurement_is_named(wrong, words):
    with pytest.raises(OutOfRange, match=words):
        measure(replace(STACK, **wrong))
