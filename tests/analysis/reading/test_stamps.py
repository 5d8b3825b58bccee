"""Stamps: what is merged, moved, spread or dropped. Referee: the cases as built, by hand."""

from __future__ import annotations

import fit_bytes as w
import numpy as np
import pandas as pd
import pytest

from analysis.reading import read
from analysis.reading.clock import settle

START = 1_000_000_000


def _settle(stamps, **columns):
    return settle(np.array(stamps, dtype=float), pd.DataFrame(columns))


def test_an_orderly_clock_is_left_alone():
    frame, clock = _settle([1, 2, 3, 9], power_w=[1.0, 2.0, 3.0, 4.0])
    assert list(frame["time_s"]) == [1, 2, 3, 9] and clock.warnings == []


def test_one_message_per_quantity_is_merged():
    nan = np.nan
    frame, clock = _settle([1, 1, 2, 2], power_w=[5.0, nan, 6.0, nan], speed_mps=[nan, 7.0, nan, 8.0])
    assert frame.to_numpy().tolist() == [[1, 5, 7], [2, 6, 8]]
    assert clock.repeated == 2 and len(clock.warnings) == 1


@pytest.mark.parametrize(
    ("stamps", "wanted"),
    [
        ([1, 2, 4, 4, 5, 6], [1, 2, 3, 4, 5, 6]),
        ([1, 2, 2, 4, 5, 6], [1, 2, 3, 4, 5, 6]),
        ([1, 3, 4, 5, 5, 6], [1, 2, 3, 4, 5, 6]),
        ([1, 2, 2, 3, 4, 6], [1, 2, 3, 4, 5, 6]),
        ([1, 1, 3, 3, 5, 6, 7, 8, 9, 10, 11, 12], [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]),
    ],
)
def test_a_rounded_clock_gets_every_sample_its_second(stamps, wanted):
    power = np.arange(len(stamps), dtype=float)
    frame, clock = _settle(stamps, power_w=power)
    assert list(frame["time_s"]) == wanted
    assert list(frame["power_w"]) == list(power)
    assert clock.warnings


def test_several_samples_a_second_are_spread_over_it():
    stamps = np.repeat([10, 11, 12], 4)
    frame, _ = _settle(stamps, power_w=np.arange(12.0))
    assert np.allclose(np.diff(frame["time_s"]), 0.25) and len(frame) == 12


def test_a_sample_written_twice_at_a_pause_keeps_the_later():
    frame, clock = _settle([1, 2, 3, 3, 60, 61, 62], power_w=[1.0, 2, 3, 0, 5, 6, 7])
    assert list(frame["time_s"]) == [1, 2, 3, 60, 61, 62] and frame["power_w"][2] == 0
    assert any("pause" in s for s in clock.warnings)


def test_backward_stamps_are_put_in_order_and_counted():
    frame, clock = _settle([5, 6, 4, 7], power_w=[1.0, 2.0, 3.0, 4.0])
    assert list(frame["power_w"]) == [3, 1, 2, 4] and clock.backward == 1 and "once" in clock.warnings[0]


def test_a_stamp_of_another_year_is_left_out():
    frame, clock = _settle([1e9, 1e9 + 1, 3e9], power_w=[1.0, 2.0, 3.0])
    assert len(frame) == 2 and any("7 days" in s for s in clock.warnings)


def test_stamps_since_power_on_have_no_date():
    recording = read(w.ride([100, 110, 120], start=5000), name="a.fit")
    assert not recording.absolute_clock and recording.start_s == 5000
    assert read(w.ride([100, 110, 120], start=START), name="a.fit").start_s == START + 631065600


@pytest.mark.parametrize("seed", range(20))
def test_any_stamps_come_out_ascending_and_unique(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 200))
    stamps = rng.integers(0, n, n).astype(float)
    stamps[rng.random(n) < 0.05] = np.nan
    frame, _ = _settle(stamps, power_w=rng.integers(0, 300, n).astype(float), speed_mps=rng.random(n))
    assert (np.diff(frame["time_s"]) > 0).all()
    assert len(frame) <= np.isfinite(stamps).sum()
