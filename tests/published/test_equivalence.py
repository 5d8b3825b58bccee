"""Two one-sided tests (Schuirmann 1987) on ten paired trials, against statsmodels, and their tie to the 90 % interval."""

import numpy as np
import pytest
from pytest import approx
from scipy import stats
from statsmodels.stats.weightstats import DescrStatsW

from analysis.pooling import equivalence_p

TEN = np.array([1.2, -0.4, 0.8, 1.9, 0.3, -0.9, 1.1, 0.6, 0.2, 1.4])  # per cent


def own(x, bound):
    return equivalence_p(x.mean(), x.std(ddof=1) / np.sqrt(x.size), x.size - 1, (-bound, bound))


@pytest.mark.parametrize(("bound", "p"), [(2.0, 0.000303787), (1.5, 0.004760231), (1.0, 0.095132615)])
def test_recorded_probabilities_and_those_of_statsmodels(bound, p):
    assert own(TEN, bound) == approx(p, abs=1e-8)
    assert own(TEN, bound) == approx(DescrStatsW(TEN).ttost_mean(-bound, bound)[0], abs=1e-10)


def test_different_from_nothing_and_yet_equivalent():
    """The same ten trials differ from zero (p 0.046) and are equivalent within 1.5 %: both are to be told."""
    assert stats.ttest_1samp(TEN, 0).pvalue == approx(0.046136937, abs=1e-8)
    assert own(TEN, 1.5) < 0.05


def test_below_five_percent_exactly_where_the_ninety_percent_interval_lies_inside():
    rng = np.random.default_rng(6)
    for _ in range(200):
        x = rng.normal(0.5, 1.0, 8)
        low, high = stats.t.interval(0.90, 7, x.mean(), x.std(ddof=1) / np.sqrt(8))
        assert (own(x, 1.2) < 0.05) == (low > -1.2 and high < 1.2)
