"""A device cannot be its own referee: one sensor in two files is recognised and given no verdict."""

from dataclasses import replace

import numpy as np
import pytest
from trials import PLAN

from analysis.archive import pack, unpack
from analysis.judging import judge_interval
from analysis.pipeline import compare
from made import recording
from sample_data.ride_model import record, ride

SENSOR = {"device_type": 11, "type": "bike_power", "serial_hash": "0a1b2c3d"}


def two(second):
    one = record(ride(PLAN, seed=1), seed=1, noise_frac=0.01)
    return [recording(one, "a"), recording(second(dict(one)), "b")]


def later(channels):
    """Another head unit: its clock two seconds off, and the radio's message written a second later."""
    channels["time_s"] = channels["time_s"] + 2.0
    channels["power_w"] = np.roll(channels["power_w"], 1)
    return channels


def some_lost(channels):
    rng = np.random.default_rng(4)
    lost = rng.random(channels["power_w"].size) < 0.1
    channels["power_w"] = np.where(lost, np.roll(channels["power_w"], 1), channels["power_w"])
    return channels


def own(channels):
    return record(ride(PLAN, seed=1), seed=2, noise_frac=0.01)


@pytest.mark.parametrize("second", [later, some_lost])
def test_identical_values_are_recognised_and_get_no_verdict(second):
    got = compare(two(second))
    assert got.trial.one_sensor("a", "b")
    assert any("its own referee" in w for w in got.warnings)
    judged = [d for _, d in (*got.deltas, *got.summary)]
    assert {d.verdict for d in judged} == {"unsettled"}
    assert all("its own referee" in d.reason for d in judged)
    opened = unpack(pack(got)).trial
    assert {d.verdict for d in judge_interval(opened, 300, 500)} == {"unsettled"}


def test_one_serial_in_two_files_decides_where_each_names_one_power_sensor():
    named = [replace(r, facts={"sensors": [SENSOR]}) for r in two(own)]
    assert compare(named).trial.one_sensor("a", "b")
    other = {**SENSOR, "serial_hash": "ffffffff"}
    several = [named[0], replace(named[1], facts={"sensors": [SENSOR, other]})]
    assert not compare(several).trial.same_source


def test_two_devices_of_one_ride_are_not_one_sensor():
    got = compare(two(own))
    assert got.trial.same_source == ()
    assert not any("its own referee" in w for w in got.warnings)
