"""Estimates of one quantity from several blocks or trials, each with its own error -> one estimate that allows them to differ.

Any unit. Random effects: y_i = mean + u_i + e_i, Var(u_i) = tau2, Var(e_i) = se_i^2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from analysis.errors import OutOfRange
from analysis.traces import Floats

Method = Literal["DL", "PM", "REML"]
LEVEL = 0.95
MIN_ESTIMATES = 2
# With fewer there is no spread between them to predict from (Higgins et al. 2009 need k - 2 degrees of freedom).
MIN_FOR_PREDICTION = 3
MAX_STEPS = 200


@dataclass(frozen=True, kw_only=True)
class Pooled:
    """What several estimates say together; all in the unit of the estimates, tau2 and its interval in its square.

    se is after Hartung and Knapp, never below that of identical truths; ci uses Student's t with n - 1. wald_se is the plain
    one. prediction : where the true value of the next block or trial is to be expected (None under three); simulated, it covers
    95 % where they differ by more than their own errors, 86 to 92 % where they differ by less, since tau2 is then often found
    to be zero. i2_frac : share of the scatter that is more than the estimates' own errors.
    """

    n: int
    method: str
    mean: float
    se: float
    ci: tuple[float, float]
    wald_se: float
    tau2: float
    tau2_ci: tuple[float, float]
    q: float
    i2_frac: float
    prediction: tuple[float, float] | None


@dataclass(frozen=True, kw_only=True)
class Left:
    """What the others say when one estimate is left out."""

    mean: float
    ci: tuple[float, float]


def pool(estimates: ArrayLike, se: ArrayLike, *, method: Method = "REML") -> Pooled:
    """Random-effects mean with the interval of Hartung and Knapp (Stat Med 2001;20:3875-3889).

    tau2 by DerSimonian and Laird (1986), Paule and Mandel (1982) or restricted maximum likelihood; its interval by the
    Q-profile (Viechtbauer 2007); prediction interval with t(n - 2) (Higgins, Thompson, Spiegelhalter, JRSS A 2009;172:137).

    Parameters
    ----------
    estimates, se : shape (n,), n >= 2; standard errors above zero.

    Raises
    ------
    OutOfRange
        Shapes differ, fewer than two, or an error that is not above zero.
    """
    y, s = np.asarray(estimates, float), np.asarray(se, float)
    if y.ndim != 1 or y.shape != s.shape or y.size < MIN_ESTIMATES:
        raise OutOfRange(f"Pooling needs two equally long rows of {MIN_ESTIMATES} or more; got {y.shape} and {s.shape}.")
    if not (np.isfinite(y).all() and np.isfinite(s).all() and (s > 0).all()):
        raise OutOfRange("Pooling needs finite estimates with standard errors above zero; leave out the blocks without one.")
    n, v = y.size, s * s
    tau2, mean, wald, error = _fit(y, v, method)
    half, q = _t(n - 1) * error, _q(y, v, 0.0)
    spread = _t(n - 2) * math.sqrt(tau2 + wald * wald) if n >= MIN_FOR_PREDICTION else None
    return Pooled(
        n=n, method=method, mean=mean, se=error, ci=(mean - half, mean + half), wald_se=wald, tau2=tau2,
        tau2_ci=_q_profile(y, v), q=q, i2_frac=max(0.0, (q - (n - 1)) / q) if q > 0 else 0.0,
        prediction=None if spread is None else (mean - spread, mean + spread),
    )  # fmt: skip


def pool_without_each(estimates: ArrayLike, se: ArrayLike, *, method: Method = "REML") -> tuple[Left, ...]:
    """Mean and interval of `pool` with each estimate left out in turn; n of three or more, checked by `pool` before."""
    y, v = np.asarray(estimates, float), np.asarray(se, float) ** 2
    half, out = _t(y.size - 2), []
    for i in range(y.size):
        _, mean, _, error = _fit(np.delete(y, i), np.delete(v, i), method)
        out.append(Left(mean=mean, ci=(mean - half * error, mean + half * error)))
    return tuple(out)


def equivalence_p(mean: float, se: float, dof: float, bounds: tuple[float, float]) -> float:
    """Larger p of two one-sided tests: small where the mean lies within the bounds, which must be fixed beforehand.

    Schuirmann, J Pharmacokinet Biopharm 1987;15:657. Below 0.05 exactly where the 90 % interval lies inside. Not to be taken
    for a difference that is not significant, which proves no agreement.
    """
    low, high = bounds
    return float(max(special.stdtr(dof, -(mean - low) / se), special.stdtr(dof, (mean - high) / se)))


def hartung_knapp_se(pooled: Pooled, estimates: ArrayLike, se: ArrayLike) -> float:
    """The Hartung-Knapp error as published, before it is held up to that of identical truths."""
    y, v = np.asarray(estimates, float), np.asarray(se, float) ** 2
    w = 1 / (v + pooled.tau2)
    return math.sqrt(float(w @ (y - pooled.mean) ** 2) / (y.size - 1) / float(w.sum()))


def _fit(y: Floats, v: Floats, method: Method) -> tuple[float, float, float, float]:
    """tau2, mean, its plain error, and that of Hartung and Knapp, which is never below the error of identical truths."""
    tau2 = {"DL": _tau2_dl, "PM": _tau2_pm, "REML": _tau2_reml}[method](y, v)
    w = 1 / (v + tau2)
    mean, wald = _mean(y, w), 1 / math.sqrt(float(w.sum()))
    scatter = math.sqrt(float(w @ (y - mean) ** 2) / (y.size - 1))
    return tau2, mean, wald, max(scatter * wald, 1 / math.sqrt(float((1 / v).sum())))


def _mean(y: Floats, w: Floats) -> float:
    return float(w @ y / w.sum())


def _q(y: Floats, v: Floats, tau2: float) -> float:
    w = 1 / (v + tau2)
    return float(w @ (y - _mean(y, w)) ** 2)


def _t(dof: int) -> float:
    return float(special.stdtrit(dof, (1 + LEVEL) / 2))


def _tau2_dl(y: Floats, v: Floats) -> float:
    w = 1 / v
    c = float(w.sum() - (w @ w) / w.sum())
    return max(0.0, (_q(y, v, 0.0) - (y.size - 1)) / c)


def _tau2_pm(y: Floats, v: Floats) -> float:
    return _solve_q(y, v, float(y.size - 1))


def _solve_q(y: Floats, v: Floats, target: float) -> float:
    """tau2 at which the weighted scatter Q comes down to `target`; 0 where it never exceeds it."""
    if _q(y, v, 0.0) <= target:
        return 0.0
    top = float(np.ptp(y) ** 2 * y.size / max(target, 1e-9) + v.max())
    return float(optimize.brentq(lambda t: _q(y, v, t) - target, 0.0, top, xtol=1e-14 * top, rtol=1e-13))


def _tau2_reml(y: Floats, v: Floats) -> float:
    """Fisher scoring from the DL start (Viechtbauer, J Educ Behav Stat 2005;30:261-293, eq. 13; number from memory)."""
    tau2 = _tau2_dl(y, v)
    for _ in range(MAX_STEPS):
        w = 1 / (v + tau2)
        total, square, cube = float(w.sum()), float(w @ w), float((w**3).sum())
        rest = y - _mean(y, w)
        # trace of P P and y' P P y of the restricted likelihood's derivative
        trace_p = total - square / total
        trace_pp = square - 2 * cube / total + (square / total) ** 2
        step = (float((w * w) @ rest**2) - trace_p) / trace_pp
        new = max(0.0, tau2 + step)
        if abs(new - tau2) <= 1e-12 * (1e-12 + new):
            return new
        tau2 = new
    return tau2


def _q_profile(y: Floats, v: Floats) -> tuple[float, float]:
    dof = y.size - 1
    high, low = (float(special.chdtri(dof, p)) for p in ((1 + LEVEL) / 2, (1 - LEVEL) / 2))
    return _solve_q(y, v, low), _solve_q(y, v, high)
