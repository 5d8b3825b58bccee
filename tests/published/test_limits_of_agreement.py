"""Bland & Altman, Lancet 1986;327:307-310: peak flow of 17 people by two meters, first readings [l/min].

Data as found in several public files; unrounded figures computed from them, and within the paper's own rounding.
Second set: Giavarina, Biochemia Medica 2015;25(2):141-151, as shipped in a public statistics library, figures from it.
"""

import numpy as np
import pytest
from pytest import approx

from analysis.agreement import limits_of_agreement, proportional_bias
from analysis.errors import OutOfRange

LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
SMALL = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]
A = [1, 5, 10, 20, 50, 40, 50, 60, 70, 80, 90, 100, 150, 200, 250, 300, 350, 400, 450, 500, 550, 600, 650, 700, 750, 800, 850,
     900, 950, 1000]  # fmt: skip
B = [8, 16, 30, 24, 39, 54, 40, 68, 72, 62, 122, 80, 181, 259, 275, 380, 320, 434, 479, 587, 626, 648, 738, 766, 793, 851, 871,
     957, 1001, 960]  # fmt: skip


def test_limits_reproduce_the_1986_meter_comparison():
    got = limits_of_agreement(LARGE, SMALL)
    assert got.n == 17
    assert got.bias_w == approx(-2.117647, abs=1e-6)
    assert got.sd_w == approx(38.765130, abs=1e-6)
    assert got.limits_w == approx((-78.095905, 73.860611), abs=1e-5)
    assert got.bias_ci_w == approx((-22.048838, 17.813544), abs=1e-5)


def test_intervals_of_the_limits_reproduce_the_1986_formula():
    got = limits_of_agreement(LARGE, SMALL)
    # The table behind this row takes z = 1.96, hence 0.002 of play beside the unrounded 1.959964.
    assert got.limits_w[0] - got.limit_half_width_w == approx(-112.6177, abs=2e-3)
    assert got.limits_w[0] + got.limit_half_width_w == approx(-43.5741, abs=2e-3)
    assert got.limits_w[1] + got.limit_half_width_w == approx(108.3824, abs=2e-3)


def test_limits_reproduce_the_2015_example():
    got = limits_of_agreement(A, B)
    assert got.bias_w == approx(-27.166667, abs=1e-5)
    assert got.sd_w == approx(34.805948, abs=1e-5)
    assert got.limits_w == approx((-95.385071, 41.051738), abs=1e-5)
    assert got.bias_ci_w == approx((-40.163421, -14.169912), abs=1e-5)


def test_unpaired_or_too_few_values_are_refused_with_their_shapes():
    with pytest.raises(OutOfRange, match=r"\(2,\)"):
        limits_of_agreement([1, 2], [1, 2])
    with pytest.raises(OutOfRange, match=r"\(3,\) and \(4,\)"):
        limits_of_agreement(np.ones(3), np.ones(4))


def test_proportional_bias_that_limits_alone_would_hide():
    """Second set: slope of the difference on the mean -0.045052, error 0.017328, p 0.0147 (statsmodels)."""
    got = proportional_bias(A, B)
    assert (got.slope, got.se, got.p) == (approx(-0.045052, abs=1e-6), approx(0.017328, abs=1e-6), approx(0.0147, abs=5e-5))
    assert got.ci[1] < 0


def test_proportional_bias_needs_different_levels():
    with pytest.raises(OutOfRange, match="different levels"):
        proportional_bias([200, 200, 200], [100, 100, 100])
