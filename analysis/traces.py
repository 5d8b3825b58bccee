"""A channel as a step function of time, exact means over any stretch, and what two devices measured in common.

Times in seconds on one clock. Samples stay as recorded: nothing here interpolates a value; a reading stands for the
time around its stamp, never for longer than `MAX_HOLD_INTERVALS` recording intervals.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

# A sample stands for at most this many recording intervals: half an interval of slack takes up a jittering clock,
# while one lost sample already leaves a hole. Common practice, no source.
MAX_HOLD_INTERVALS = 1.5
# A second belongs to a pair's one-second series when both devices cover at least this much of it.
MIN_SECOND_COVER = 0.5

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Steps:
    """Readings with the stretch each stands for: `value[i]` over [`start_s[i]`, `end_s[i]`), ascending, no overlap."""

    start_s: Floats
    end_s: Floats
    value: Floats

    def means(self, start_s: ArrayLike, end_s: ArrayLike) -> Floats:
        """Time-weighted mean from each start to its end (arrays of one shape), NaN where less than half is covered."""
        (before, work_before), (after, work_after) = self.running(start_s), self.running(end_s)
        covered = after - before
        enough = (covered >= MIN_SECOND_COVER * (np.asarray(end_s, float) - np.asarray(start_s, float))) & (covered > 0)
        return np.divide(work_after - work_before, covered, out=np.full(covered.shape, np.nan), where=enough)

    def running(self, when_s: ArrayLike) -> tuple[Floats, Floats]:
        """Covered time and integral from the beginning up to each instant; differences of two give any mean."""
        knots, length, work = self._running
        return np.interp(when_s, knots, length), np.interp(when_s, knots, work)

    @cached_property
    def _running(self) -> tuple[Floats, Floats, Floats]:
        """Instants, covered time and integral up to each."""
        if not self.value.size:
            return np.array([0.0, 1.0]), np.zeros(2), np.zeros(2)
        widths = self.end_s - self.start_s
        knots = np.column_stack((self.start_s, self.end_s)).ravel()
        return knots, _cumulated(widths), _cumulated(widths * self.value)


def steps_of(time_s: ArrayLike, value: ArrayLike, *, interval_s: float) -> Steps:
    """Let each sample stand for the time half-way to its neighbours, at most `MAX_HOLD_INTERVALS` intervals in all.

    Parameters
    ----------
    time_s, value : shape (n,)
        Ascending stamps [s] and readings; a NaN reading covers nothing.
    interval_s : float
        The recording's usual step. [s]
    """
    time, reading = np.asarray(time_s, float), np.asarray(value, float)
    half_limit = MAX_HOLD_INTERVALS * interval_s / 2
    half = np.minimum(np.diff(time) / 2, half_limit)
    before = np.concatenate(([min(interval_s / 2, half_limit)], half))
    after = np.concatenate((half, [min(interval_s / 2, half_limit)]))
    there = np.isfinite(reading)
    return Steps(start_s=(time - before)[there], end_s=(time + after)[there], value=reading[there])


@dataclass(frozen=True, kw_only=True)
class Pair:
    """Running totals of two traces over the time that both cover; any stretch costs two look-ups.

    knot_s : (m,) ascending instants; between two of them both totals grow linearly.
    covered_s, device_ws, reference_ws : (m,) common time [s] and the work of each in it [W s], from the start.
    """

    knot_s: Floats
    covered_s: Floats
    device_ws: Floats
    reference_ws: Floats

    def totals(self, start_s: ArrayLike, end_s: ArrayLike) -> tuple[Floats, Floats, Floats]:
        """Common seconds and both works between starts and ends (arrays of one shape). [s, W s, W s]"""
        ends = [np.interp(np.asarray(t, float), self.knot_s, total) for total in self._running for t in (start_s, end_s)]
        return ends[1] - ends[0], ends[3] - ends[2], ends[5] - ends[4]

    def by_second(self, start_s: float, end_s: float) -> tuple[Floats, Floats]:
        """Mean power of device and reference in each second of [start_s, end_s) that both cover. [W, W]

        Each second starts a whole number after `start_s`; a last part of a second is left out.
        """
        edges = start_s + np.arange(int(np.floor(end_s - start_s + 1e-9)) + 1)
        covered, device, reference = self.totals(edges[:-1], edges[1:])
        there = covered >= MIN_SECOND_COVER
        return device[there] / covered[there], reference[there] / covered[there]

    @cached_property
    def pedalling(self) -> Pair:
        """The same pair over the time in which both read more than zero: the works of a pair without anybody's zeros.

        Both, so that exchanging device and reference leaves the same time.
        """
        widths, device, reference = (np.diff(total) for total in self._running)
        both = (device > 0) & (reference > 0)

        def running(amount: Floats) -> Floats:
            return np.concatenate(([0.0], np.cumsum(amount * both)))

        return Pair(knot_s=self.knot_s, covered_s=running(widths), device_ws=running(device), reference_ws=running(reference))

    @property
    def _running(self) -> tuple[Floats, Floats, Floats]:
        return self.covered_s, self.device_ws, self.reference_ws


def pair_of(device: Steps, reference: Steps) -> Pair:
    """Cut both step functions at each other's edges and total what is covered by both. O((n + m) log(n + m))."""
    knots = np.unique(np.concatenate((device.start_s, device.end_s, reference.start_s, reference.end_s)))
    if knots.size < 2:
        zero = np.zeros(2)
        return Pair(knot_s=np.array([0.0, 1.0]), covered_s=zero, device_ws=zero, reference_ws=zero)
    width, middle = np.diff(knots), (knots[:-1] + knots[1:]) / 2
    device_w, device_there = _at(device, middle)
    reference_w, reference_there = _at(reference, middle)
    common = width * (device_there & reference_there)

    def running(rate: Floats | float) -> Floats:
        return np.concatenate(([0.0], np.cumsum(common * rate)))

    return Pair(knot_s=knots, covered_s=running(1.0), device_ws=running(device_w), reference_ws=running(reference_w))


def _at(steps: Steps, when_s: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    if not steps.value.size:
        return np.zeros(when_s.size), np.zeros(when_s.size, bool)
    i = np.maximum(np.searchsorted(steps.start_s, when_s, side="right") - 1, 0)
    there = (when_s >= steps.start_s[i]) & (when_s < steps.end_s[i])
    return np.where(there, steps.value[i], 0.0), there


def _cumulated(amount: Floats) -> Floats:
    # 0, a0, a0, a0+a1, a0+a1, ...: flat across a hole, rising inside a step
    total = np.cumsum(amount)
    return np.column_stack((np.concatenate(([0.0], total[:-1])), total)).ravel()
