"""Deming line against direct minimisation and an orthogonal-distance library run (figures recorded from it)."""

import numpy as np
import pytest
from pytest import approx
from scipy import optimize

from analysis.agreement import deming
from analysis.errors import OutOfRange

C_X, C_Y = [101, 149, 201, 252, 298, 351, 402, 449], [104, 151, 206, 255, 305, 358, 411, 457]
N_X, N_Y = [100, 150, 200, 250, 300, 120, 180, 240], [118, 139, 214, 236, 319, 110, 201, 228]


@pytest.mark.parametrize(
    ("x", "y", "ratio", "slope", "intercept"),
    [
        (C_X, C_Y, 1.0, 1.019104936, 0.238978209),
        (C_X, C_Y, 4.0, 1.019076797, 0.246726970),
        (C_X, C_Y, 0.25, 1.019132444, 0.231403218),
        (N_X, N_Y, 1.0, 1.028899612, -2.438175328),
        (N_X, N_Y, 4.0, 1.012197158, 0.777047093),
    ],
)
def test_slope_and_intercept_as_recorded_from_orthogonal_distance_regression(x, y, ratio, slope, intercept):
    assert deming(x, y, variance_ratio=ratio) == approx((slope, intercept), abs=2e-8)


def test_slope_minimises_the_profile_sum():
    x, y = np.array(N_X, float), np.array(N_Y, float)

    def left(b):
        return float((((y - y.mean()) - b * (x - x.mean())) ** 2).sum() / (1 + b * b))

    assert deming(x, y)[0] == approx(optimize.minimize_scalar(left, bracket=(0.9, 1.0, 1.1)).x, abs=1e-6)


def test_swapping_the_devices_inverts_the_slope():
    assert deming(N_X, N_Y)[0] * deming(N_Y, N_X)[0] == approx(1.0, abs=1e-12)


def test_rows_that_do_not_vary_together_are_refused():
    with pytest.raises(OutOfRange):
        deming([1, 1, 1], [1, 2, 3])
